package protocol

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"sort"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"
)

// Fallback is the language that is used where another is not known.
const Fallback = "en"

// Messages holds every wording of a flows tree, by language and key.
type Messages struct {
	text  map[string]map[string]string // language, key
	where map[string]map[string]place
}

// place is a line of a file of the flows tree.
type place struct {
	file string
	line int
}

func (p place) String() string {
	if p.line == 0 {
		return p.file
	}
	return fmt.Sprintf("%s:%d", p.file, p.line)
}

var placeholder = regexp.MustCompile(`\{[a-z_]+\}`)

// layoutKey is the key under which a language gives its clock, as a Go layout.
const layoutKey = "clock"

// LoadMessages reads messages/*.yaml: flat files of "key: text {placeholder}",
// named for their language ("es.yaml", "prompts.es.yaml"). All files of a
// language are one; a key that is there twice, that a language lacks, or whose
// placeholders differ between languages is an error that names file and line.
func LoadMessages(fsys fs.FS) (*Messages, error) {
	m := &Messages{text: map[string]map[string]string{}, where: map[string]map[string]place{}}
	files, err := fs.Glob(fsys, "messages/*.yaml")
	if err != nil {
		return nil, fmt.Errorf("messages: %w", err)
	}
	var errs []error
	for _, file := range files {
		errs = append(errs, m.read(fsys, file)...)
	}
	if len(m.text[Fallback]) == 0 {
		errs = append(errs, fmt.Errorf("messages/%s.yaml: missing or empty, want the wordings in the language that others fall back to", Fallback))
	}
	errs = append(errs, m.compare()...)
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return m, nil
}

// languageOf returns "es" for "messages/prompts.es.yaml".
func languageOf(file string) string {
	name := strings.TrimSuffix(path.Base(file), ".yaml")
	return name[strings.LastIndex(name, ".")+1:]
}

func (m *Messages) read(fsys fs.FS, file string) (errs []error) {
	lang := languageOf(file)
	if len(lang) != 2 || strings.ToLower(lang) != lang {
		return []error{fmt.Errorf("%s: file name ends in %q, want a two-letter language such as en.yaml or prompts.en.yaml", file, lang)}
	}
	b, err := fs.ReadFile(fsys, file)
	if err != nil {
		return []error{fmt.Errorf("%s: %w", file, err)}
	}
	pairs, err := flat(b)
	if err != nil {
		return []error{fmt.Errorf("%s: %w", file, err)}
	}
	if m.text[lang] == nil {
		m.text[lang], m.where[lang] = map[string]string{}, map[string]place{}
	}
	for _, p := range pairs {
		at := place{file, p.line}
		if before, twice := m.where[lang][p.key]; twice {
			errs = append(errs, fmt.Errorf("%s: key %q is in %s already", at, p.key, before))
			continue
		}
		if strings.TrimSpace(p.value) == "" {
			errs = append(errs, fmt.Errorf("%s: key %q has no text", at, p.key))
			continue
		}
		m.text[lang][p.key], m.where[lang][p.key] = p.value, at
	}
	return errs
}

type pair struct {
	key, value string
	line       int
}

// flat reads a YAML mapping of keys to texts, with the line of each.
func flat(b []byte) ([]pair, error) {
	var texts map[string]string
	doc, err := decodeYAML(b, &texts)
	if err != nil {
		return nil, fmt.Errorf("want a flat list of \"key: text\": %w", err)
	}
	var pairs []pair
	for _, d := range doc.Docs {
		var nodes []*ast.MappingValueNode
		switch body := d.Body.(type) {
		case *ast.MappingNode:
			nodes = body.Values
		case *ast.MappingValueNode:
			nodes = []*ast.MappingValueNode{body}
		}
		for _, n := range nodes {
			key := n.Key.GetToken().Value
			pairs = append(pairs, pair{key, texts[key], n.Key.GetToken().Position.Line})
		}
	}
	return pairs, nil
}

// compare finds keys that a language lacks, and placeholders that differ.
func (m *Messages) compare() (errs []error) {
	for _, lang := range m.Languages() {
		for _, other := range m.Languages() {
			for _, key := range m.keys(other) {
				text, ok := m.text[lang][key]
				if !ok {
					errs = append(errs, fmt.Errorf("%s: key %q has no text in language %q", m.where[other][key], key, lang))
					continue
				}
				want, got := placeholders(m.text[other][key]), placeholders(text)
				if other == Fallback && lang != other && strings.Join(want, " ") != strings.Join(got, " ") {
					errs = append(errs, fmt.Errorf("%s: key %q has placeholders %v, in %q it has %v", m.where[lang][key], key, got, other, want))
				}
			}
		}
	}
	return errs
}

// placeholders returns the placeholders of a text, sorted, each once.
func placeholders(text string) []string {
	seen := map[string]bool{}
	var list []string
	for _, p := range placeholder.FindAllString(text, -1) {
		if !seen[p] {
			seen[p] = true
			list = append(list, p)
		}
	}
	sort.Strings(list)
	return list
}

// Languages lists the languages that have wordings, sorted.
func (m *Messages) Languages() []string {
	var list []string
	for lang := range m.text {
		list = append(list, lang)
	}
	sort.Strings(list)
	return list
}

func (m *Messages) keys(lang string) []string {
	var list []string
	for key := range m.text[lang] {
		list = append(list, key)
	}
	sort.Strings(list)
	return list
}

// Phrases returns the wordings of a language, or of Fallback where it has none.
func (m *Messages) Phrases(lang string) Phrases {
	if m.text[lang] == nil {
		lang = Fallback
	}
	return Phrases{lang: lang, text: m.text[lang]}
}

// Phrases are the wordings of one language.
type Phrases struct {
	lang string
	text map[string]string
}

// Lang returns the language of the wordings.
func (p Phrases) Lang() string { return p.lang }

// Has reports whether there is a wording under key.
func (p Phrases) Has(key string) bool { _, ok := p.text[key]; return ok }

// Say returns the wording under key with its {placeholders} filled from args,
// or, where args has none, from the wording "default.<placeholder>": a text
// never goes out with a hole in it. An unknown key gives the key in brackets:
// visible, never an empty text.
func (p Phrases) Say(key string, args map[string]string) string {
	text, ok := p.text[key]
	if !ok {
		return "[" + key + "]"
	}
	if !strings.Contains(text, "{") {
		return text
	}
	return placeholder.ReplaceAllStringFunc(text, func(hole string) string {
		if value, ok := args[hole[1:len(hole)-1]]; ok {
			return value
		}
		if value, ok := p.text["default."+hole[1:len(hole)-1]]; ok {
			return value
		}
		return hole
	})
}

// Clock returns the time of day as the language writes it, in t's own zone.
func (p Phrases) Clock(t time.Time) string {
	if layout, ok := p.text[layoutKey]; ok {
		return t.Format(layout)
	}
	return t.Format("15:04")
}
