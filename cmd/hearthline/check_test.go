package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hearthline/flows"
)

func TestCheckPassesTheBuiltInFlows(t *testing.T) {
	var out bytes.Buffer
	if err := (&checkCmd{}).Run(&streams{out: &out}); err != nil {
		t.Fatalf("check: %v\n%s", err, out.String())
	}
	for _, want := range []string{"protocols", "cases", "no clinician's signature"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("check does not say %q: %s", want, out.String())
		}
	}
}

func TestCheckNamesFileAndLineOfABreach(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, flows.FS); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "protocols", "skin.yaml")
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, bytes.Replace(b, []byte("answer: day_list"), []byte("answer: someday"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := (&checkCmd{Dir: dir}).Run(&streams{out: &out}); err == nil {
		t.Error("check: no error over a broken file")
	}
	if !strings.Contains(out.String(), "protocols/skin.yaml:") || !strings.Contains(out.String(), `"someday", want one of`) {
		t.Errorf("check says %s", out.String())
	}
}
