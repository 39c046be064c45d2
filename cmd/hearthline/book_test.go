package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestBookWritesAPageForEachProtocol(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "book")
	var out bytes.Buffer
	if err := (&bookCmd{Out: dir}).Run(&streams{out: &out}); err != nil {
		t.Fatal(err)
	}
	pages, err := filepath.Glob(filepath.Join(dir, "*.html"))
	if err != nil || len(pages) < 30 {
		t.Fatalf("%d pages, error %v", len(pages), err)
	}
	b, err := os.ReadFile(filepath.Join(dir, "fever.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<svg", "Licence number", "Not signed by a licensed clinician", "SHA-256"} {
		if !strings.Contains(string(b), want) {
			t.Errorf("the page for fever has no %q", want)
		}
	}
}
