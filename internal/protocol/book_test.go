package protocol

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func TestBookPageOfATube(t *testing.T) {
	s := shipped(t)
	var b bytes.Buffer
	if err := s.WritePage(&b, "tube_out"); err != nil {
		t.Fatal(err)
	}
	// The version and the walk change with every file; the page itself is golden.
	got := strings.ReplaceAll(b.String(), s.Version(), "VERSION")
	golden := filepath.Join("testdata", "book_tube_out.html")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the page differs from %s; look at it and run with -update", golden)
	}
}

func TestEveryBookPageIsWholeAndItsDrawingIsXML(t *testing.T) {
	s := shipped(t)
	for _, name := range s.Protocols() {
		p := s.byName[name]
		svg := s.draw(p)
		d := xml.NewDecoder(strings.NewReader(svg))
		boxes := 0
		for {
			tok, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: drawing is not XML: %v", name, err)
			}
			if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "rect" {
				boxes++
			}
		}
		want := 2 * (1 + len(p.rules) + len(p.questions))
		if p.settle != nil {
			want += 2
		}
		if boxes != want {
			t.Errorf("%s: %d boxes, want %d: one pair for the opening, each rule and each question", name, boxes, want)
		}
	}
	var b bytes.Buffer
	if err := s.WriteIndex(&b); err != nil {
		t.Fatal(err)
	}
	for _, name := range s.Protocols() {
		if !strings.Contains(b.String(), `href="`+name+`.html"`) {
			t.Errorf("index has no %s", name)
		}
	}
	if err := s.WritePage(io.Discard, "nothing"); err == nil {
		t.Error("a protocol that is not there has a page")
	}
}

func TestConditionsInWords(t *testing.T) {
	v := small()
	env, err := newEnv(v)
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		`days < 3 && !(tube == "nasal" || green)`: "days under 3 and not (tube is nasal or green)",
		`(days >= 3 || green) && count != 2`:      "(days at least 3 or green) and count is not 2",
		`green == false || tube != "bowel"`:       "not green or tube is not bowel",
	} {
		c, err := compile(env, v, text)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.root.inWords(v); got != want {
			t.Errorf("%s in words: %q, want %q", text, got, want)
		}
	}
}
