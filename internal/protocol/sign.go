package protocol

import (
	"errors"
	"fmt"
	"io/fs"
	"time"
)

const signoffPath = "signoff.yaml"

// signoffFile is signoff.yaml: who signed which file, as it then was.
type signoffFile struct {
	Files map[string]Signature `yaml:"files"`
}

// Signature is a clinician's word for one flow file.
type Signature struct {
	SHA256  string `yaml:"sha256"`  // of the file as it was signed
	Role    string `yaml:"role"`    // of who signed, "registered nurse"
	Name    string `yaml:"name"`    // of who signed
	Licence string `yaml:"licence"` // licence number
	Signed  string `yaml:"signed"`  // date, 2026-05-02
	Until   string `yaml:"until"`   // last day on which it holds
}

func (s *Set) loadSignoff(fsys fs.FS) error {
	src, err := readYAML(fsys, signoffPath, &s.signoff)
	if err != nil {
		return err
	}
	s.signSrc = src
	f := &faults{src: src}
	for _, name := range sortedKeys(s.signoff.Files) {
		sig := s.signoff.Files[name]
		field := "$.files.'" + name + "'"
		if _, ok := s.hashes[name]; !ok {
			f.add(field, "names %s, which is not in the flows tree", name)
		}
		for what, date := range map[string]string{"signed": sig.Signed, "until": sig.Until} {
			if _, err := time.Parse(time.DateOnly, date); err != nil && sig.SHA256 != "" {
				f.add(field+"."+what, "of %s is %q, want a date such as 2026-05-02", name, date)
			}
		}
	}
	return f.err()
}

// Signed returns nil when every flow file is signed, unchanged since, and not
// expired at now. Otherwise it says of each file what is wrong.
func (s *Set) Signed(now time.Time) error {
	var errs []error
	for _, name := range sortedKeys(s.hashes) {
		if name == signoffPath {
			continue
		}
		sig := s.signoff.Files[name]
		switch until, err := time.Parse(time.DateOnly, sig.Until); {
		case sig.SHA256 == "" || sig.Name == "" || sig.Role == "" || sig.Licence == "":
			errs = append(errs, fmt.Errorf("%s: unsigned", name))
		case sig.SHA256 != s.hashes[name]:
			errs = append(errs, fmt.Errorf("%s: changed since it was signed on %s", name, sig.Signed))
		case err != nil || !now.Before(until.AddDate(0, 0, 1)):
			errs = append(errs, fmt.Errorf("%s: signature was valid until %s", name, sig.Until))
		}
	}
	return errors.Join(errs...)
}
