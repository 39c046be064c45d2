package household

import (
	"strings"
	"unicode"
)

// Route says which of the households of one phone a text goes to, and fills in
// what each is to know of the others. A text that names a tag goes to whom it
// names. Any other goes to all of them: an answer counts for the one that
// alone waits for it, but trouble is never put down to one child on a guess.
func Route(states []State, ev TextCame) map[int]TextCame {
	out := map[int]TextCame{}
	words := strings.FieldsFunc(ev.Body, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	var tags []string
	waiting := -1
	for i, s := range states {
		tags = append(tags, s.Tag)
		if s.named(words) {
			out[i] = ev
		}
		if s.waitsForAnswer() && countWaiting(states) == 1 {
			waiting = i
		}
	}
	if len(out) > 0 {
		return out
	}
	for i := range states {
		each := ev
		if len(states) > 1 {
			each.Others = tags
			each.First = i == 0
			each.Waits = i == waiting
			each.OtherWaits = waiting >= 0 && i != waiting
		}
		out[i] = each
	}
	return out
}

// named reports whether one of the words is the household's tag. A one-letter
// tag counts only as a capital: "a" is also a common word of two languages.
func (s State) named(words []string) bool {
	for _, w := range words {
		if s.Tag != "" && (w == s.Tag || (len(s.Tag) > 1 && sameWord(w, s.Tag))) {
			return true
		}
	}
	return false
}

func (s State) waitsForAnswer() bool {
	for _, p := range s.Prompts {
		if !p.Settled && !p.Silent {
			return true
		}
	}
	return false
}

func countWaiting(states []State) int {
	n := 0
	for _, s := range states {
		if s.waitsForAnswer() {
			n++
		}
	}
	return n
}
