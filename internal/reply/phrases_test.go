package reply

import (
	"math/bits"
	"slices"
	"strings"
	"testing"
)

// Every phrase of the lists is found in its own words: no phrase is dead
// because two of its words are read as one, or one of them as another.
func TestEveryPhraseMatchesItsOwnWords(t *testing.T) {
	l := shipped(t)
	dead := 0
	for _, p := range l.patterns {
		for _, pick := range []int{0, 1, 7} {
			text := instance(l, p, pick)
			var r run
			r.reset(l, text)
			r.scan(text)
			r.lookup()
			r.matchAll()
			if !slices.ContainsFunc(r.matches, func(m match) bool { return m.pat.what == p.what && m.pat.label == p.label }) {
				dead++
				t.Errorf("%s: %q is not found in %q", p.label, p.text, text)
				break
			}
		}
	}
	t.Logf("%d phrases, %d dead", len(l.patterns), dead)
}

// instance writes p out with one of each element's words and no gaps.
func instance(l *Lists, p *pattern, pick int) string {
	var words []string
	for i := range p.elems {
		e := &p.elems[i]
		switch e.op {
		case opNumber:
			words = append(words, "3")
		case opWord:
			id := e.word
			if id < 0 {
				id = nth(e.set, pick)
			}
			words = append(words, strings.TrimSuffix(l.names[id], "*"))
		}
	}
	return strings.Join(words, " ")
}

// nth is the n-th member of a set, counted round.
func nth(set []uint64, n int) int32 {
	size := 0
	for _, w := range set {
		size += bits.OnesCount64(w)
	}
	n %= size
	for i, w := range set {
		for ; w != 0; w &= w - 1 {
			if n == 0 {
				return int32(i*64 + bits.TrailingZeros64(w))
			}
			n--
		}
	}
	return -1
}
