package regimen

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

// Error is one thing wrong with a file, with its place and what would be right.
// Line and Col count from 1; an error about the whole file stands at line 1.
type Error struct {
	File  string
	Line  int
	Col   int
	Field string // the field's path in the file, "feeds[1].start"; empty for the file itself
	Wrong string // what was found
	Right string // what would be right; may be empty
}

// Error returns "file:line:col: field: wrong; right".
func (e *Error) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d:%d: ", e.File, e.Line, e.Col)
	if e.Field != "" {
		b.WriteString(e.Field + ": ")
	}
	b.WriteString(e.Wrong)
	if e.Right != "" {
		b.WriteString("; " + e.Right)
	}
	return b.String()
}

// Problems is every error of one file, in the order of their places.
type Problems []*Error

// Error returns one line an error.
func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i, e := range p {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lets errors.As find a single [*Error].
func (p Problems) Unwrap() []error {
	errs := make([]error, len(p))
	for i, e := range p {
		errs[i] = e
	}
	return errs
}

func (p Problems) orNil() error {
	if len(p) == 0 {
		return nil
	}
	sort.SliceStable(p, func(i, j int) bool {
		if p[i].Line != p[j].Line {
			return p[i].Line < p[j].Line
		}
		return p[i].Col < p[j].Col
	})
	return p
}

// Warning is a thing that a second person must confirm before a household runs
// on the prescription. The plan can be printed all the same, unless Accept is set.
type Warning struct {
	File  string `json:"file"`
	Line  int    `json:"line"`
	Col   int    `json:"col"`
	Field string `json:"field"`
	Text  string `json:"text"` // a whole sentence, with the numbers
	// Accept says that nothing may be printed or run until a person has said
	// that they accept it (a rate over what home feeds use).
	Accept bool `json:"accept,omitempty"`
}

// String returns "file:line:col: field: text".
func (w Warning) String() string {
	return fmt.Sprintf("%s:%d:%d: %s: %s", w.File, w.Line, w.Col, w.Field, w.Text)
}

// ErrNoFeeds is returned by Compile for a prescription that prescribes nothing to give.
var ErrNoFeeds = errors.New("regimen: the prescription has no feeds")
