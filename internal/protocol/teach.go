package protocol

import (
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
)

// teachingFile is one teaching/*.yaml: when a step of feeding is explained.
type teachingFile struct {
	Text        string              `yaml:"text"`         // message key
	By          []string            `yaml:"by"`           // pump, gravity, syringe
	Tubes       []string            `yaml:"tubes"`        // none: any kind of tube
	OfferedWith []string            `yaml:"offered_with"` // the acts it belongs to
	Needs       []string            `yaml:"needs"`        // placeholders that the regimen must give
	Asked       map[string][]string `yaml:"asked"`        // phrases that ask for it, by language
	Source      string              `yaml:"source"`
}

type teaching struct {
	name    string
	file    teachingFile
	phrases [][]string
}

// FeedBy are the ways in which a feed is given.
var FeedBy = []string{"pump", "gravity", "syringe"}

// Taught is what must be known of a household before it is taught anything.
type Taught struct {
	By       string            // pump, gravity, syringe; "" where not known or mixed
	TubeKind string            // "" where not known
	Args     map[string]string // what the regimen gives: keep, hang, rate, flush, and call
}

func (s *Set) loadTeaching(fsys fs.FS) (errs []error) {
	files, err := fs.Glob(fsys, "teaching/*.yaml")
	if err != nil {
		return []error{fmt.Errorf("teaching: %w", err)}
	}
	for _, file := range files {
		t := teaching{name: strings.TrimSuffix(path.Base(file), ".yaml")}
		src, err := readYAML(fsys, file, &t.file)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		f := &faults{src: src}
		if !s.messages.Phrases(Fallback).Has(t.file.Text) {
			f.add("$.text", "messages have no %q", t.file.Text)
		}
		if len(t.file.By) == 0 {
			f.add("$.by", "is empty, want how the feeds are given to which it applies: %s", strings.Join(FeedBy, ", "))
		}
		f.allOf("$.by", t.file.By, FeedBy)
		f.allOf("$.tubes", t.file.Tubes, Tubes)
		f.allOf("$.offered_with", t.file.OfferedWith, PromptKinds)
		if t.file.Source == "" {
			f.add("$.source", "is missing, want where it comes from (or \"common practice, no source\")")
		}
		for _, hole := range placeholders(s.messages.text[Fallback][t.file.Text]) {
			name := hole[1 : len(hole)-1]
			if name != "call" && name != "emergency" && !slices.Contains(t.file.Needs, name) {
				f.add("$.needs", "does not name %q, which the text has", name)
			}
		}
		for _, lang := range s.messages.Languages() {
			if len(t.file.Asked[lang]) == 0 {
				f.add("$.asked", "has no phrase in language %q", lang)
			}
			for _, p := range t.file.Asked[lang] {
				t.phrases = append(t.phrases, wordsOf(p))
			}
		}
		errs = append(errs, f.errs...)
		s.teaching = append(s.teaching, t)
	}
	return errs
}

// fits reports whether a step may be taught to a household: nothing is taught
// that its tube, its way of feeding or its regimen contradicts, or that needs a
// number which the regimen does not give.
func (t teaching) fits(h Taught) bool {
	if !slices.Contains(t.file.By, h.By) {
		return false
	}
	if len(t.file.Tubes) > 0 && !slices.Contains(t.file.Tubes, h.TubeKind) {
		return false
	}
	for _, need := range t.file.Needs {
		if h.Args[need] == "" {
			return false
		}
	}
	return true
}

// maxQuestionWords is the length above which a question is not surely about
// one step: it goes to a person.
const maxQuestionWords = 14

// Teach returns the message key of the teaching text that surely answers a
// question; false where none does, or more than one might. Whether the text
// holds anything else than a question (a symptom, a word not read) is for the
// reading to say, before this is asked.
func (s *Set) Teach(question string, h Taught) (string, bool) {
	words := wordsOf(question)
	if len(words) == 0 || len(words) > maxQuestionWords {
		return "", false
	}
	found := ""
	for _, t := range s.teaching {
		if !slices.Contains(t.file.By, h.By) || !slices.ContainsFunc(t.phrases, func(p []string) bool { return contains(words, p) }) {
			continue
		}
		if found != "" || !t.fits(h) {
			return "", false
		}
		found = t.file.Text
	}
	return found, found != ""
}

// Offers returns the message keys of the teaching texts that belong to an act,
// for a family that is new to it.
func (s *Set) Offers(act string, h Taught) []string {
	var keys []string
	for _, t := range s.teaching {
		if slices.Contains(t.file.OfferedWith, act) && t.fits(h) {
			keys = append(keys, t.file.Text)
		}
	}
	return keys
}

// contains reports whether phrase stands in words, in one piece.
func contains(words, phrase []string) bool {
	for at := 0; at+len(phrase) <= len(words); at++ {
		if slices.Equal(words[at:at+len(phrase)], phrase) {
			return true
		}
	}
	return false
}
