package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"hearthline/internal/engine"
	"hearthline/internal/household"
)

type enrolCmd struct {
	Files  []string `arg:"" help:"Household files (each names its regimen file)." type:"existingfile"`
	Config string   `help:"Configuration file of serve. Without it the files are checked only." type:"existingfile" env:"HEARTHLINE_CONFIG"`
	By     string   `help:"Who does this; journaled."`
}

// Help is what --help adds.
func (enrolCmd) Help() string {
	return `All files are read and checked before anything is stored: one that is wrong stops all. An order in which something stands out, and any changed order, needs checked_by in the household file: a second person who compared it with the prescriber's. Give --config to store; serve may run meanwhile.

  household: maple-17
  name: June R.
  tag: JUNE                  # one word; where one phone serves two households
  regimen: maple-17.regimen.yaml
  checked_by: the second person
  caregivers:
    - {name: Ana, phone: "+1 202 555 0117", language: en}`
}

// Run enrols the households.
func (c *enrolCmd) Run(s *streams) error {
	region := "US"
	var set *settings
	if c.Config != "" {
		var err error
		if set, err = loadConfig(c.Config, os.Getenv); err != nil {
			return err
		}
		region = set.Region
	}
	branch := pretendBranch()
	if set != nil {
		branch = set.branch
	}
	flows := ""
	if set != nil {
		flows = set.Flows
	}
	w, err := loadWorld(flowsFrom(flows), branch)
	if err != nil {
		return err
	}
	homes, err := readHouseholds(c.Files, region, w.Limits)
	if err != nil {
		return err
	}
	for _, h := range homes {
		for _, warning := range h.warnings {
			fmt.Fprintf(s.out, "%s: stands out, confirmed by %s: %s\n", h.id, h.enrol.CheckedBy, warning)
		}
	}
	if set == nil {
		fmt.Fprintf(s.out, "%d household files are right; nothing was stored (no --config)\n", len(homes))
		return nil
	}
	return c.store(s, set, w, homes)
}

func (c *enrolCmd) store(s *streams, set *settings, w *household.World, homes []onFile) error {
	ctx := context.Background()
	kept, err := openRedis(ctx, set.RedisURL, filepath.Join(set.Data, "redis"))
	if err != nil {
		return err
	}
	defer func() {
		if err := kept.Close(); err != nil {
			fmt.Fprintln(s.err, "hearthline:", err)
		}
	}()
	keys, err := set.keys()
	if err != nil {
		return err
	}
	eng := engine.New(engine.Config{Branch: set.branch.ID, Store: kept.Branch(set.branch.ID), Keys: keys,
		World: func() *household.World { return w }, From: set.Out.From, Holder: holder()})
	for _, h := range homes {
		if c.By != "" {
			h.enrol.By = "staff:" + c.By
		}
		if err := eng.Do(ctx, h.id, h.enrol); err != nil {
			return fmt.Errorf("household %s: %w (those before it in the list are stored)", h.id, err)
		}
		fmt.Fprintf(s.out, "%s: on file\n", h.id)
	}
	return nil
}
