package protocol

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"hearthline/internal/journal"
)

// protocolFile is one protocols/*.yaml as it is written.
type protocolFile struct {
	Opens struct {
		Codes    []string `yaml:"codes"`
		Triggers []string `yaml:"triggers"`
		// When opens it too, where it certainly holds: for news that the reading
		// gives no code or reason of its own.
		When string `yaml:"when"`
	} `yaml:"opens"`
	Rank            int             `yaml:"rank"`
	Case            caseFile        `yaml:"case"`
	Advice          string          `yaml:"advice"`
	EmergencyAdvice string          `yaml:"emergency_advice"`
	Hold            []string        `yaml:"hold"`
	Rules           []ruleFile      `yaml:"rules"`
	Questions       []questionFile  `yaml:"questions"`
	Settle          *settleFile     `yaml:"settle"`
	Deadline        *deadlineFile   `yaml:"deadline"`
	WaitMin         journal.Minutes `yaml:"wait_min"` // how long an answer is waited for, 0: 10
	Checklist       []string        `yaml:"checklist"`
	Facts           []string        `yaml:"facts"`
	Sources         []string        `yaml:"sources"`
}

// caseFile is how soon a case is answered, and by whom.
type caseFile struct {
	Answer       journal.Answer  `yaml:"answer"`
	WithinMin    journal.Minutes `yaml:"within_min"`
	PageAfterMin journal.Minutes `yaml:"page_after_min"`
	GoesTo       string          `yaml:"goes_to"`
	Source       string          `yaml:"source"`
}

// ruleFile changes what follows where its condition holds.
type ruleFile struct {
	ID     string    `yaml:"id"`
	When   string    `yaml:"when"`
	Case   *caseFile `yaml:"case"`
	Advice string    `yaml:"advice"`
	Hold   []string  `yaml:"hold"`
	GoesTo string    `yaml:"goes_to"` // another person answers, as soon; only beside no case of its own
	Why    string    `yaml:"why"`
	Source string    `yaml:"source"`
}

// questionFile is one closed question.
type questionFile struct {
	ID     string   `yaml:"id"`
	Ask    string   `yaml:"ask"`    // message key
	Answer string   `yaml:"answer"` // yes_no, number, one_of
	OneOf  []string `yaml:"one_of"` // keys of the words, "word.<key>" in messages
	Min    int64    `yaml:"min"`
	Max    int64    `yaml:"max"`
	// Sets names the symptom, mark or number that the answer makes known; where
	// it is empty, the answer is a fact of its own under the question's id.
	Sets string `yaml:"sets"`
	On   string `yaml:"on"`   // the answer that sets it: yes (the default) or no
	When string `yaml:"when"` // asked only where this may hold; empty: always
	// InAdvice: the protocol's first advice asks it already, so that no second
	// text is sent.
	InAdvice bool `yaml:"in_advice"`
}

// settleFile says which answers make a case wait for the morning. It is the
// one way in which an answer lowers urgency, and the case says that it did.
type settleFile struct {
	When string   `yaml:"when"`
	Case caseFile `yaml:"case"`
	Why  string   `yaml:"why"`
}

// deadlineFile is a time that runs from when the trouble began, whoever answers
// when: the case shows it.
type deadlineFile struct {
	Minutes journal.Minutes `yaml:"minutes"`
	When    string          `yaml:"when"`
	Source  string          `yaml:"source"`
}

// adviceFile says what one advice text tells a family to do.
type adviceFile struct {
	Tells  []string `yaml:"tells"`
	Gap    string   `yaml:"gap"` // said instead where the feed must not stop for long
	Source string   `yaml:"source"`
}

// source is a YAML file with what is needed to name a line of it.
type source struct {
	path string
	doc  *ast.File
}

// readYAML decodes a file strictly into v.
func readYAML(fsys fs.FS, path string, v any) (source, error) {
	b, err := fs.ReadFile(fsys, path)
	if err != nil {
		return source{path: path}, fmt.Errorf("%s: %w", path, err)
	}
	doc, err := decodeYAML(b, v)
	if err != nil {
		return source{path: path}, fmt.Errorf("%s: %s", path, strings.TrimSpace(err.Error()))
	}
	return source{path, doc}, nil
}

// decodeYAML decodes strictly into v and returns the document. The YAML library
// panics on some malformed input (a tag with nothing after it, for one); that is
// a bad file like any other, not the end of the program.
func decodeYAML(b []byte, v any) (doc *ast.File, err error) {
	defer func() {
		if p := recover(); p != nil {
			doc, err = nil, fmt.Errorf("is not YAML that can be read: %v", p)
		}
	}()
	if err := yaml.UnmarshalWithOptions(b, v, yaml.Strict()); err != nil {
		return nil, err
	}
	return parser.ParseBytes(b, 0)
}

// at returns the place of a YAML path such as "$.rules[2].when", or of the
// nearest thing above it that is there.
func (s source) at(field string) place {
	for field != "" && s.doc != nil {
		if p, err := yaml.PathString(field); err == nil {
			if n, err := p.FilterFile(s.doc); err == nil && n != nil {
				return place{s.path, firstLine(n)}
			}
		}
		field = field[:max(0, strings.LastIndexAny(field, ".["))]
	}
	return place{s.path, 1}
}

func firstLine(n ast.Node) int {
	switch v := n.(type) {
	case *ast.MappingNode:
		if len(v.Values) > 0 {
			return v.Values[0].Key.GetToken().Position.Line
		}
	case *ast.MappingValueNode:
		return v.Key.GetToken().Position.Line
	case *ast.SequenceNode:
		if len(v.Values) > 0 {
			return firstLine(v.Values[0])
		}
	}
	return n.GetToken().Position.Line
}

// faults collects what is wrong in a file, each with its place.
type faults struct {
	src  source
	errs []error
}

func (f *faults) add(field, format string, args ...any) {
	f.errs = append(f.errs, fmt.Errorf("%s: %s: %s", f.src.at(field), strings.TrimPrefix(field, "$."), fmt.Sprintf(format, args...)))
}

func (f *faults) err() error { return errors.Join(f.errs...) }

func (f *faults) oneOf(field, value string, of []string) {
	if !slices.Contains(of, value) {
		f.add(field, "is %q, want one of %s", value, strings.Join(of, ", "))
	}
}

func (f *faults) allOf(field string, values, of []string) {
	for i, v := range values {
		f.oneOf(fmt.Sprintf("%s[%d]", field, i), v, of)
	}
}

var answers = []string{
	string(journal.AnswerEmergency), string(journal.AnswerMinutes), string(journal.AnswerNext), string(journal.AnswerDayList),
}

// GoesTo are the people that a case may go to.
var GoesTo = []string{"nurse", "dietitian", "pharmacist", "coordinator"}

// caseOf checks one case block.
func (f *faults) caseOf(field string, c caseFile) {
	f.oneOf(field+".answer", string(c.Answer), answers)
	f.oneOf(field+".goes_to", c.GoesTo, GoesTo)
	if (c.Answer == journal.AnswerMinutes) != (c.WithinMin > 0) {
		f.add(field+".within_min", "is %d with answer %q, want a number above 0 with answer minutes and none with any other", c.WithinMin, c.Answer)
	}
	if c.WithinMin < 0 || c.WithinMin > 24*60 {
		f.add(field+".within_min", "is %d, want 1 to 1440", c.WithinMin)
	}
	if c.PageAfterMin < 0 || c.PageAfterMin > 10 {
		f.add(field+".page_after_min", "is %d, want 0 to 10", c.PageAfterMin)
	}
	if c.Answer == journal.AnswerEmergency && c.PageAfterMin != 0 {
		f.add(field+".page_after_min", "is %d, want 0: an emergency rings at once", c.PageAfterMin)
	}
	if strings.TrimSpace(c.Source) == "" {
		f.add(field+".source", "is missing, want where the time comes from (or \"common practice, no source\", or \"from memory\")")
	}
}
