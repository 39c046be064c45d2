package reply

import (
	"fmt"
	"strconv"
	"strings"
)

// A pattern is written as elements with spaces between:
//
//	lips           the word
//	vomit*         any word that starts so
//	lips|mouth     either
//	@tube          any word of the class (more may stand beside it: @tube|line)
//	very?          the word or nothing
//	~3             up to three tokens of any kind, within the sentence and not across a contrast ("but")
//	N              a number in digits or words
//	^ $            start and end of the sentence
//	!of            not followed by this; zero width
//	<!kitchen      not preceded by this; zero width
//
// Words of the class skip ("very", "the") may stand anywhere between elements.
type pattern struct {
	what  what
	label string   // code, cue, answer or intent
	codes []string // of a symptom: its codes
	elems []elem
	lang  uint8
	text  string // as written, for tests and errors
}

type op uint8

const (
	opWord op = iota
	opMaybe
	opGap
	opNumber
	opStart
	opEnd
	opNot
	opNotBefore
)

type elem struct {
	op   op
	word int32 // the only word, or -1
	set  []uint64
	n    int
}

// what a pattern is for.
type what uint8

const (
	whatSymptom what = iota
	whatEmergency
	whatUnlessAlert
	whatDenied // a phrase that is itself a denial: "afebrile"
	whatBenign
	whatCue
	whatAnswer
	whatIntent
)

func (e *elem) holds(id int32) bool {
	if e.word >= 0 {
		return id == e.word
	}
	if id < 0 || int(id)>>6 >= len(e.set) {
		return false
	}
	return e.set[id>>6]&(1<<(id&63)) != 0
}

// draft is a pattern whose words are not numbered yet.
type draft struct {
	pattern
	parts []part
	where string
}

type part struct {
	op    op
	n     int
	names []string // words, pre* and @class
}

func parsePattern(text string) ([]part, error) {
	var parts []part
	for _, f := range strings.Fields(text) {
		switch {
		case f == "N":
			parts = append(parts, part{op: opNumber})
		case f == "^":
			parts = append(parts, part{op: opStart})
		case f == "$":
			parts = append(parts, part{op: opEnd})
		case f[0] == '~':
			n, err := strconv.Atoi(f[1:])
			if err != nil || n < 1 || n > 12 {
				return nil, fmt.Errorf("gap %q: want ~1 to ~12", f)
			}
			parts = append(parts, part{op: opGap, n: n})
		default:
			p := part{op: opWord}
			switch {
			case strings.HasPrefix(f, "<!"):
				p.op, f = opNotBefore, f[2:]
			case f[0] == '!':
				p.op, f = opNot, f[1:]
			case strings.HasSuffix(f, "?"):
				p.op, f = opMaybe, f[:len(f)-1]
			}
			for _, w := range strings.Split(f, "|") {
				if w == "" || w == "*" || w == "@" {
					return nil, fmt.Errorf("element %q: an empty word", f)
				}
				p.names = append(p.names, w)
			}
			parts = append(parts, p)
		}
	}
	for len(parts) > 0 && parts[len(parts)-1].op == opGap { // a gap at the end matches what it likes: nothing
		parts = parts[:len(parts)-1]
	}
	for i := range parts {
		if parts[i].op == opWord || parts[i].op == opNumber {
			return parts, nil
		}
		if parts[i].op == opGap {
			break
		}
	}
	return nil, fmt.Errorf("pattern %q: must begin with a word, a class or N", text)
}

// match is one pattern found: tokens [from, to), of which mask has those that
// its elements took (bit 0 is from); the rest lie in gaps.
type match struct {
	pat      *pattern
	from, to int
	mask     uint64
}

func (m *match) took(i int) bool {
	return i >= m.from && i < m.to && i-m.from < 64 && m.mask&(1<<(i-m.from)) != 0
}

// matchAll finds every pattern at every token. Work is bounded: gaps are at
// most 12 wide and a pattern spans at most 64 tokens.
func (r *run) matchAll() {
	l := r.l
	for i := range r.toks {
		t := &r.toks[i]
		if t.quoted(r) {
			continue
		}
		if t.kind == number || t.kind == word && t.id >= 0 && l.info[t.id].num != 0 {
			for _, p := range l.numbered {
				r.try(p, i)
			}
		}
		if t.kind != word && t.kind != number || t.id < 0 || int(t.id) >= len(l.first) {
			continue
		}
		for _, p := range l.first[t.id] {
			r.try(p, i)
		}
	}
}

func (r *run) try(p *pattern, i int) {
	r.strict = p.what == whatBenign
	if to, mask, ok := r.step(p.elems, i, i, 0); ok {
		r.matches = append(r.matches, match{pat: p, from: i, to: to, mask: mask})
	}
}

// step matches the elements from token i on; from is where the pattern began.
func (r *run) step(es []elem, i, from int, mask uint64) (int, uint64, bool) {
	for len(es) > 0 {
		e := &es[0]
		switch e.op {
		case opStart:
			if i > 0 && r.toks[i-1].kind != stop && !r.toks[i-1].quoted(r) {
				return 0, 0, false
			}
		case opNotBefore:
			if i > 0 && r.toks[i-1].kind == word && e.holds(r.toks[i-1].id) {
				return 0, 0, false
			}
		case opEnd:
			if j := r.skip(i, from); j < len(r.toks) && r.toks[j].kind != stop && r.toks[j].kind != comma {
				return 0, 0, false
			}
		case opNot:
			if j := r.skip(i, from); j < len(r.toks) && r.toks[j].kind == word && e.holds(r.toks[j].id) || i < len(r.toks) && r.toks[i].kind == word && e.holds(r.toks[i].id) {
				return 0, 0, false
			}
		case opWord, opNumber:
			j, ok := r.next(e, i, from)
			if !ok {
				return 0, 0, false
			}
			for k := i; k <= j; k++ {
				if k-from < 64 {
					mask |= 1 << (k - from)
				}
			}
			i = j + 1
		case opMaybe:
			if j, ok := r.next(e, i, from); ok {
				m := mask
				for k := i; k <= j; k++ {
					if k-from < 64 {
						m |= 1 << (k - from)
					}
				}
				if to, got, ok := r.step(es[1:], j+1, from, m); ok {
					return to, got, true
				}
			}
		case opGap:
			rest := es[1:]
			for k := 0; k <= e.n; k++ {
				if k > 0 && (i+k-1 >= len(r.toks) || r.wall(i+k-1)) {
					return 0, 0, false
				}
				if rest[0].op == opWord && (i+k >= len(r.toks) || !rest[0].holds(r.toks[i+k].id)) {
					continue
				}
				if to, got, ok := r.step(rest, i+k, from, mask); ok {
					return to, got, true
				}
			}
			return 0, 0, false
		}
		es = es[1:]
	}
	return i, mask, true
}

// next finds the token that e takes at i, over at most three skip words.
func (r *run) next(e *elem, i, from int) (int, bool) {
	for n := 0; i < len(r.toks) && i-from < 64 && n <= 3; n++ {
		t := &r.toks[i]
		if e.op == opNumber {
			if t.kind == number || t.kind == word && t.id >= 0 && r.l.info[t.id].num != 0 {
				return i, true
			}
		} else if (t.kind == word || t.kind == number) && e.holds(t.id) {
			return i, true
		}
		if i == from || !r.isSkip(i) {
			return 0, false
		}
		i++
	}
	return 0, false
}

func (r *run) skip(i, from int) int {
	for n := 0; i < len(r.toks) && n < 3 && r.isSkip(i); n++ {
		i++
	}
	return i
}

// wall tells whether token i may not lie in a gap.
func (r *run) wall(i int) bool {
	t := &r.toks[i]
	return t.kind == stop || r.strict && t.kind == comma || t.quoted(r) || r.has(i, roleContrast)
}

func (r *run) isSkip(i int) bool { return r.has(i, roleSkip) }

func (t *token) quoted(r *run) bool { return t.start < r.quoteEnd && t.start >= r.quoteStart }
