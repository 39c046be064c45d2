package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"hearthline/internal/carrier"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// onFile is a household file that was read whole.
type onFile struct {
	id       journal.HouseholdID
	enrol    household.Enrol
	warnings []regimen.Warning
}

// readHouseholds reads household files, all of them or, with every error, none.
func readHouseholds(files []string, region string, lim *regimen.Limits) ([]onFile, error) {
	var out []onFile
	var errs []error
	number := func(raw string) (string, error) { return carrier.E164(raw, region, carrier.Fictitious) }
	seen := map[journal.HouseholdID]string{}
	for _, file := range files {
		src, err := os.ReadFile(file)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		beside := func(name string) ([]byte, error) { return os.ReadFile(filepath.Join(filepath.Dir(file), name)) }
		id, enrol, warnings, err := household.ParseFile(filepath.Base(file), src, beside, number, lim)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		if other := seen[id]; other != "" {
			errs = append(errs, fmt.Errorf("%s: household: %s is in %s already", file, id, other))
		}
		seen[id] = file
		enrol.By = "staff:files"
		out = append(out, onFile{id, enrol, warnings})
	}
	errs = append(errs, sharedPhones(out)...)
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return out, nil
}

// sharedPhones demands a tag of each of two households that share a phone.
func sharedPhones(all []onFile) (errs []error) {
	by := map[string][]onFile{}
	for _, h := range all {
		for _, c := range h.enrol.Who.Caregivers {
			by[c.Phone] = append(by[c.Phone], h)
		}
	}
	for _, homes := range by {
		tags := map[string]bool{}
		for _, h := range homes {
			tag := strings.ToUpper(h.enrol.Who.Tag)
			if len(homes) > 1 && (tag == "" || tags[tag]) {
				errs = append(errs, fmt.Errorf("household %s: tag: one phone serves %d households; give each a tag of its own, one word that the family will write", h.id, len(homes)))
			}
			tags[tag] = true
		}
	}
	return errs
}

// householdFiles lists the household files of a folder.
func householdFiles(dir string) ([]string, error) {
	all, err := filepath.Glob(filepath.Join(dir, "*.yaml"))
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(f string) bool { return strings.HasSuffix(f, ".regimen.yaml") })
	if len(all) == 0 {
		return nil, fmt.Errorf("households: no household file (*.yaml beside its *.regimen.yaml) in %s", dir)
	}
	return all, nil
}
