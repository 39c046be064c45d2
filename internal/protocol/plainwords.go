package protocol

import (
	"fmt"
	"strings"

	"hearthline/internal/journal"
)

// inWords writes a condition as a clinician reads it: "age months under 12 and
// green". The names of facts are those of the file, with spaces.
func (n *node) inWords(v *vocabulary) string { return n.words(v, 0) }

// words writes a condition; depth is the strength of the join around it, so
// that brackets stand only where they change the meaning.
func (n *node) words(v *vocabulary, depth int) string {
	switch n.op {
	case opAnd:
		return bracket(n.left.words(v, 2)+" and "+n.right.words(v, 2), depth > 2)
	case opOr:
		return bracket(n.left.words(v, 1)+" or "+n.right.words(v, 1), depth > 1)
	case opNot:
		return "not " + n.left.words(v, 3)
	}
	d := v.defs[n.fact]
	name := strings.ReplaceAll(d.name, "_", " ")
	switch d.kind {
	case truth:
		if (n.cmp == "==") == (n.value == 1) {
			return name
		}
		return "not " + name
	case word:
		is := " is "
		if n.cmp == "!=" {
			is = " is not "
		}
		return name + is + strings.ReplaceAll(d.words[n.value], "_", " ")
	}
	relation := map[string]string{
		"==": "is", "!=": "is not", "<": "under", "<=": "at most", ">": "over", ">=": "at least",
	}[n.cmp]
	return fmt.Sprintf("%s %s %d", name, relation, n.value)
}

func bracket(s string, is bool) string {
	if is {
		return "(" + s + ")"
	}
	return s
}

// inWords says how soon a case is answered and by whom.
func (c caseFile) inWords() string {
	var s string
	switch c.Answer {
	case journal.AnswerEmergency:
		s = "emergency: at once"
	case journal.AnswerMinutes:
		s = fmt.Sprintf("within %d minutes", c.WithinMin)
	case journal.AnswerNext:
		s = "before the next feed or medicine"
	default:
		s = "next working morning"
	}
	if c.GoesTo != "" {
		s += ", " + c.GoesTo
	}
	if c.PageAfterMin > 0 {
		s += fmt.Sprintf("; rings after %d minutes", c.PageAfterMin)
	}
	return s
}
