package protocol

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"hearthline/internal/journal"
)

// Finding is one thing that is wrong in a flows tree.
type Finding struct {
	File  string
	Line  int    // 0 where the whole file is meant
	Field string // "" where the line says enough
	What  string // what is wrong, and what would be right
}

// String writes "file:line: field: what".
func (f Finding) String() string {
	s := f.File
	if f.Line > 0 {
		s += ":" + strconv.Itoa(f.Line)
	}
	if f.Field != "" {
		s += ": " + f.Field
	}
	return s + ": " + f.What
}

// Report is what a check of a flows tree found, and how much it looked at.
type Report struct {
	Findings  []Finding
	Version   string
	Protocols int
	Cells     int // cases walked over all protocols
	Paths     int // paths of answers and silence walked
	Texts     int // texts to caregivers weighed, over all languages
	Unsigned  int // files that no clinician has signed as they are
	Files     int
}

// Check loads a flows tree and proves what can be proved of it. It never
// fails: what is wrong is in the findings, a tree that does not load included.
func Check(fsys fs.FS) Report { return check(fsys, func(string) bool { return true }) }

// check is Check that walks the cases of the chosen protocols only.
func check(fsys fs.FS, walked func(protocol string) bool) Report {
	r := Report{}
	r.orphans(fsys)
	s, err := Load(fsys)
	if err != nil {
		r.loadErrors(err)
		return r
	}
	r.Version, r.Protocols = s.version, len(s.protocols)
	for _, name := range sortedKeys(s.hashes) {
		if name == signoffPath {
			continue
		}
		r.Files++
		if sig := s.signoff.Files[name]; sig.SHA256 != s.hashes[name] {
			r.Unsigned++
		}
	}
	r.texts(fsys, s)
	for _, p := range s.protocols {
		if !walked(p.name) {
			continue
		}
		cells, paths, found := s.prove(p)
		r.Cells += cells
		r.Paths += paths
		r.Findings = append(r.Findings, found...)
	}
	r.Findings = append(r.Findings, s.contradictions()...)
	return r
}

var located = regexp.MustCompile(`^([\w./-]+\.yaml)(?::(\d+))?: (?s)(.*)$`)

// loadErrors turns the joined errors of Load into findings.
func (r *Report) loadErrors(err error) {
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		for _, one := range many.Unwrap() {
			r.loadErrors(one)
		}
		return
	}
	if inner := errors.Unwrap(err); inner != nil {
		if _, ok := inner.(interface{ Unwrap() []error }); ok {
			r.loadErrors(inner)
			return
		}
	}
	if m := located.FindStringSubmatch(err.Error()); m != nil {
		line, _ := strconv.Atoi(m[2]) // empty is line 0: the whole file
		r.Findings = append(r.Findings, Finding{File: m[1], Line: line, What: m[3]})
		return
	}
	r.Findings = append(r.Findings, Finding{File: "flows", What: err.Error()})
}

// known are the files of a flows tree; what is not among them is read by
// nothing, which its author does not expect.
var known = []string{
	"protocols/*.yaml", "messages/*.yaml", "teaching/*.yaml", "words/*.yaml", "words/*.txt",
	"advice.yaml", "marks.yaml", "placeholders.yaml", signoffPath, "limits.yaml", "asking.yaml", "flows.go",
}

func (r *Report) orphans(fsys fs.FS) {
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		for _, pattern := range known {
			if ok, _ := path.Match(pattern, name); ok { // the patterns are constants: never malformed
				return nil
			}
		}
		r.Findings = append(r.Findings, Finding{File: name, What: "is read by nothing, want one of " + strings.Join(known, ", ")})
		return nil
	})
	if err != nil {
		r.Findings = append(r.Findings, Finding{File: "flows", What: err.Error()})
	}
}

// staffKeys begin the keys of wordings that no caregiver gets as a text.
var staffKeys = []string{"title.", "disposition.", "nurse.", "plan.", "default.", "word.", "staff."}

func forCaregivers(key string) bool {
	if key == layoutKey {
		return false
	}
	return !slices.ContainsFunc(staffKeys, func(p string) bool { return strings.HasPrefix(key, p) })
}

// placeholderFile is placeholders.yaml.
type placeholderFile struct {
	Tag          string `yaml:"tag"` // the longest tag before a text
	Placeholders map[string]struct {
		Means   string            `yaml:"means"`
		Longest map[string]string `yaml:"longest"`
	} `yaml:"placeholders"`
}

// MaxParts is how many segments a text to a caregiver may take.
const MaxParts = 2

// texts weighs every text to a caregiver, in every language.
func (r *Report) texts(fsys fs.FS, s *Set) {
	var fill placeholderFile
	src, err := readYAML(fsys, "placeholders.yaml", &fill)
	if err != nil {
		r.loadErrors(err)
		return
	}
	m := s.messages
	for _, lang := range m.Languages() {
		for _, key := range m.keys(lang) {
			if !forCaregivers(key) {
				continue
			}
			r.Texts++
			at := m.where[lang][key]
			add := func(format string, args ...any) {
				r.Findings = append(r.Findings, Finding{at.file, at.line, key, fmt.Sprintf(format, args...)})
			}
			text := m.text[lang][key]
			full := placeholder.ReplaceAllStringFunc(text, func(hole string) string {
				value, ok := fill.Placeholders[hole[1:len(hole)-1]].Longest[lang]
				if !ok {
					add("placeholder %s has no longest value for language %s in %s", hole, lang, src.path)
				}
				return value
			})
			n := journal.Segments(fill.Tag + full)
			if n.Parts > MaxParts {
				add("takes %d segments with its longest values (%d units, UCS-2: %v), want at most %d", n.Parts, n.Units, n.UCS2, MaxParts)
			}
			checkPlain(lang, text, add)
		}
	}
	r.help(s)
}

// fewWords is the number of words under which a text is too short for any
// readability index, all of which were made on samples of a hundred words.
const fewWords = 6

// checkPlain checks that a text reads easily and names nobody.
func checkPlain(lang, text string, add func(string, ...any)) {
	plain := readable(text)
	switch lang {
	case "en":
		if c := CountEnglish(plain); c.Words >= fewWords && c.Grade() > MaxGrade {
			add("reads at grade %.1f (Flesch-Kincaid), want %.0f or lower", c.Grade(), MaxGrade)
		}
	case "es":
		if c := CountSpanish(plain); c.Words >= fewWords && c.FernandezHuerta() < MinSpanish {
			add("reads at %.0f (Fernández Huerta), want %.0f or higher", c.FernandezHuerta(), MinSpanish)
		}
	}
	if name := strayName(plain); name != "" {
		add("has %q with a capital letter inside a sentence: texts name no person and no product", name)
	}
}

// readable takes the placeholders out of a text, so that what stands in for
// them counts for nothing. A household's own half is a sentence.
func readable(text string) string {
	return placeholder.ReplaceAllString(strings.ReplaceAll(text, "{plan}", "7."), "7")
}

// capitals that are no names: the English I, degrees, and the letters that
// answer a question, and the days of the week. Words all in capitals are
// keywords to text back.
var capitals = []string{"I", "F", "C", "Y", "N", "S", "O",
	"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}

// strayName returns a word with a capital letter that does not begin a sentence.
func strayName(text string) string {
	begins := true
	for _, field := range strings.Fields(text) {
		word := strings.TrimFunc(field, func(r rune) bool { return !unicode.IsLetter(r) })
		if word != "" && unicode.IsUpper([]rune(word)[0]) && !begins && !slices.Contains(capitals, word) && word != strings.ToUpper(word) {
			return word
		}
		begins = strings.HasSuffix(field, ".") || strings.HasSuffix(field, ":") || strings.ContainsAny(field, "?!")
	}
	return ""
}

// help finds advice that does not say where help is.
func (r *Report) help(s *Set) {
	for _, lang := range s.Languages() {
		for _, key := range s.messages.keys(lang) {
			if !strings.HasPrefix(key, "case.") && !strings.HasPrefix(key, "emergency.") {
				continue
			}
			if text := s.messages.text[lang][key]; !strings.Contains(text, "{emergency}") {
				at := s.messages.where[lang][key]
				r.Findings = append(r.Findings, Finding{at.file, at.line, key, "does not name the emergency number, want {emergency} in it"})
			}
		}
	}
}
