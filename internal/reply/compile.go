package reply

import (
	"fmt"
	"slices"
	"strings"
)

// compiledSets turns named words, prefixes and classes into sets of word ids.
type compiledSets struct {
	c     *compiler
	byKey map[string]elem
	size  int
}

// expandPrefixes notes which listed words each listed prefix covers.
func (c *compiler) expandPrefixes() {
	sorted := make([]string, 0, len(c.l.names))
	for _, n := range c.l.names {
		if !strings.Contains(n, " ") {
			sorted = append(sorted, n)
		}
	}
	slices.Sort(sorted)
	c.under = map[string][]int32{}
	for p := range c.l.prefixes {
		at, _ := slices.BinarySearch(sorted, p)
		for ; at < len(sorted) && strings.HasPrefix(sorted[at], p); at++ {
			c.under[p] = append(c.under[p], c.l.words[sorted[at]])
		}
	}
}

// ids are the word ids of a word, a prefix or a class.
func (c *compiler) ids(name string, depth int) []int32 {
	switch {
	case depth > 8:
		return nil
	case name[0] == '@':
		var out []int32
		for _, m := range c.classes[name[1:]] {
			out = append(out, c.ids(m, depth+1)...)
		}
		return out
	case strings.HasSuffix(name, "*"):
		return c.under[strings.TrimSuffix(name, "*")]
	}
	return []int32{c.l.words[name]}
}

func (c *compiler) setRoles() {
	for i, name := range roleNames {
		for _, m := range c.classes[name] {
			for _, id := range c.ids(m, 0) {
				c.l.info[id].roles |= 1 << i
			}
		}
	}
}

// compile turns drafts into patterns over the first listed ids.
func (c *compiler) compile(listed int) error {
	s := compiledSets{c: c, byKey: map[string]elem{}, size: (listed + 63) / 64}
	c.l.first = make([][]*pattern, listed)
	for i := 0; i < len(c.drafts) && i < 1<<16; i++ {
		c.drafts = append(c.drafts, c.joined(c.drafts[i])...)
		d := &c.drafts[i]
		p := d.pattern
		for _, q := range d.parts {
			e := s.elem(q)
			p.elems = append(p.elems, e)
			if p.what <= whatUnlessAlert && (q.op == opWord || q.op == opMaybe) {
				for _, n := range q.names {
					for _, id := range c.ids(n, 0) {
						c.l.info[id].clinical = true
						c.l.info[id].danger = c.l.info[id].danger || p.what == whatEmergency || p.what == whatUnlessAlert
					}
				}
			}
		}
		kept := &p
		c.l.patterns = append(c.l.patterns, kept)
		lead := 0
		for p.elems[lead].op != opWord && p.elems[lead].op != opNumber {
			if p.elems[lead].op == opMaybe || p.elems[lead].op == opGap {
				return fmt.Errorf("%s: pattern %q: must begin with a word, a class or N", d.where, d.text)
			}
			lead++
		}
		if p.elems[lead].op == opNumber {
			c.l.numbered = append(c.l.numbered, kept)
			continue
		}
		first := map[int32]bool{}
		for _, n := range d.parts[lead].names {
			for _, id := range c.ids(n, 0) {
				if !first[id] {
					first[id] = true
					c.l.first[id] = append(c.l.first[id], kept)
				}
			}
		}
	}
	return nil
}

func (s *compiledSets) elem(q part) elem {
	e := elem{op: q.op, n: q.n, word: -1}
	if len(q.names) == 0 {
		return e
	}
	key := strings.Join(q.names, "|")
	if known, ok := s.byKey[key]; ok {
		e.word, e.set = known.word, known.set
		return e
	}
	var ids []int32
	for _, n := range q.names {
		ids = append(ids, s.c.ids(n, 0)...)
	}
	if len(ids) == 1 {
		e.word = ids[0]
	} else {
		e.set = make([]uint64, s.size)
		for _, id := range ids {
			e.set[id>>6] |= 1 << (id & 63)
		}
	}
	s.byKey[key] = e
	return e
}

// setWords sets what number words, units, short forms and emoji stand for.
func (c *compiler) setWords() error {
	l := c.l
	for _, n := range c.nums {
		in := &l.info[l.words[n.word]]
		in.num, in.den = n.val, n.den
	}
	for w, u := range c.units {
		for _, id := range c.ids(w, 0) {
			l.info[id].unit = u
		}
	}
	for _, s := range c.short {
		from := l.words[s[0]]
		if s[1] == "~" {
			l.info[from].alias = -1
			continue
		}
		to, ok := l.words[s[1]]
		if !ok {
			return fmt.Errorf("short: %q stands for %q, which no list has: add that word to everyday or a class", s[0], s[1])
		}
		l.info[from].alias = to
	}
	for _, e := range c.emojis {
		id, ok := l.words[e.word]
		if !ok {
			return fmt.Errorf("emoji: %q stands for %q, which no list has: add that word to everyday or a class", string(e.r), e.word)
		}
		l.emoji[e.r] = id
	}
	return nil
}

// joined are the variants of d in which neighbouring words that the lists hold
// as one ("used to") stand as that one.
func (c *compiler) joined(d draft) []draft {
	var out []draft
	for i := 0; i+1 < len(d.parts); i++ {
		next := i + 1
		if d.parts[next].op == opGap && next+1 < len(d.parts) { // a gap may be empty
			next++
		}
		a, b := d.parts[i], d.parts[next]
		if a.op != opWord || b.op != opWord {
			continue
		}
		var both []string
		for _, x := range a.names {
			for _, y := range b.names {
				if x[0] != '@' && y[0] != '@' && c.seen[x+" "+y] {
					both = append(both, x+" "+y)
				}
			}
		}
		if len(both) == 0 {
			continue
		}
		v := d
		v.parts = append(append(append([]part{}, d.parts[:i]...), part{op: opWord, names: both}), d.parts[next+1:]...)
		out = append(out, v)
	}
	return out
}
