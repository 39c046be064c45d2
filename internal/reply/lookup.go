package reply

import "sync"

// run is the work on one text.
type run struct {
	l       *Lists
	text    string
	toks    []token
	arena   []byte
	buf     []byte
	matches []match
	kept    []match // spare room for sift
	quants  []quant
	cues    []cue
	facts   []found
	plain   []bool // token i is accounted for
	cut     int    // bytes scanned

	quoteStart, quoteEnd int // a quoted prompt: bytes not read
	titled               bool
	strict               bool // the pattern being tried may not reach over a comma
	langSeen             [8]int
}

var runs = sync.Pool{New: func() any { return new(run) }}

func (r *run) reset(l *Lists, text string) {
	*r = run{
		l: l, text: text, toks: r.toks[:0], arena: r.arena[:0], buf: r.buf[:0], matches: r.matches[:0], kept: r.kept[:0],
		quants: r.quants[:0], cues: r.cues[:0], facts: r.facts[:0], plain: r.plain[:0],
	}
}

// nameID marks a token that is a name by its capital letter: no listed word.
const nameID = -2

// lookup finds the listed word of each word token: as written, with stretched
// letters cut, by a listed prefix, as a name by its capital, or repaired.
func (r *run) lookup() {
	r.titled = r.looksTitled()
	for i := range r.toks { // which languages are spoken, by the words listed as written
		t := &r.toks[i]
		if t.kind == number && t.form == plain {
			if id, ok := r.l.words[r.text[t.start:t.end]]; ok {
				t.id = id // "911"
			}
		}
		if t.kind != word || t.id >= 0 {
			continue
		}
		if id, ok := r.l.words[string(r.arena[t.a:t.b])]; ok {
			t.id = id
			r.hear(id)
		}
	}
	for i := range r.toks {
		t := &r.toks[i]
		if t.kind != word {
			continue
		}
		if t.id < 0 {
			t.id = r.find(i, r.arena[t.a:t.b])
		}
		if t.id >= 0 {
			in := &r.l.info[t.id]
			if in.alias >= 0 {
				t.id = in.alias
			}
		}
	}
	r.merge()
}

func (r *run) find(i int, w []byte) int32 {
	l := r.l
	if id, ok := l.words[string(w)]; ok {
		return id
	}
	if stretched(w) {
		for keep := 2; keep >= 1; keep-- {
			r.buf = shortened(r.buf[:0], w, keep)
			if id, ok := l.words[string(r.buf)]; ok {
				return id
			}
			if id := l.prefixOf(r.buf); id >= 0 {
				return id
			}
		}
		w = r.buf
	}
	if id := l.prefixOf(w); id >= 0 {
		return id
	}
	if t := &r.toks[i]; t.cap && !r.titled && !r.opens(i) {
		return nameID
	}
	slip, near := l.repair.find(l, w, r.spoken())
	if slip < 0 || !near || !l.info[slip].clinical { // a likely slip of a word of danger is that word
		if id := r.inflected(w); id >= 0 {
			return id
		}
	}
	if slip >= 0 {
		r.toks[i].repaired = true
		return slip
	}
	return -1
}

// opens tells whether token i is the first word of a sentence, where a capital
// letter says nothing.
func (r *run) opens(i int) bool {
	return i == 0 || r.toks[i-1].kind == stop || r.toks[i-1].kind == mark
}

// looksTitled tells whether the text is written With Capitals Throughout.
func (r *run) looksTitled() bool {
	caps, words := 0, 0
	for i := range r.toks {
		if t := &r.toks[i]; t.kind == word && t.b-t.a > 2 {
			words++
			if t.cap {
				caps++
			}
		}
	}
	return words > 2 && caps*2 > words
}

// merge joins phrases that the lists hold as one word ("g tube").
func (r *run) merge() {
	out := 0
	for i := 0; i < len(r.toks); i++ {
		t := r.toks[i]
		if t.kind == word && t.id >= 0 {
			for _, m := range r.l.merges[t.id] {
				if end := r.mergeAt(i+1, m.rest); end > 0 {
					t.end, t.id = r.toks[end-1].end, m.id
					i = end - 1
					break
				}
			}
		}
		r.toks[out] = t
		out++
	}
	r.toks = r.toks[:out]
}

func (r *run) mergeAt(i int, rest []int32) int {
	for _, id := range rest {
		if i >= len(r.toks) || r.toks[i].kind != word || r.toks[i].id != id {
			return 0
		}
		i++
	}
	return i
}

// has tells whether token i is a word of a role.
func (r *run) has(i int, role uint64) bool {
	if i < 0 || i >= len(r.toks) {
		return false
	}
	t := &r.toks[i]
	return t.kind == word && t.id >= 0 && r.l.info[t.id].roles&role != 0
}

func (r *run) unit(i int) unit {
	if i < 0 || i >= len(r.toks) || r.toks[i].kind != word || r.toks[i].id < 0 {
		return noUnit
	}
	return r.l.info[r.toks[i].id].unit
}

func (r *run) isMark(i int, sym byte) bool {
	return i >= 0 && i < len(r.toks) && r.toks[i].kind == mark && r.toks[i].sym == sym
}

// sentence is the range of tokens of the sentence that i stands in.
func (r *run) sentence(i int) (from, to int) {
	from, to = i, i
	for from > 0 && r.toks[from-1].kind != stop {
		from--
	}
	for to < len(r.toks) && r.toks[to].kind != stop {
		to++
	}
	return from, to
}

// clause is the range of tokens around i up to a comma, stop or contrast.
func (r *run) clause(i int) (from, to int) {
	edge := func(j int) bool {
		k := r.toks[j].kind
		return k == stop || k == comma || r.has(j, roleContrast|roleClause)
	}
	from, to = i, i
	for from > 0 && !edge(from-1) {
		from--
	}
	for to < len(r.toks) && !edge(to) {
		to++
	}
	return from, to
}

// inflected is the everyday word that w is a form of by a listed ending, or -1.
// Only words that are everyday and stand in no symptom phrase count, so that a
// form never makes a word of danger plain.
func (r *run) inflected(w []byte) int32 {
	for _, e := range r.l.endings {
		n := len(w) - len(e.cut)
		if n < 3 || string(w[n:]) != e.cut {
			continue
		}
		r.buf = append(append(r.buf[:0], w[:n]...), e.put...)
		if id := r.plainWord(r.buf); id >= 0 {
			return id
		}
		if k := len(r.buf) - 1; e.put == "" && k > 3 && r.buf[k] == r.buf[k-1] { // "hopping"
			if id := r.plainWord(r.buf[:k]); id >= 0 {
				return id
			}
		}
	}
	return -1
}

func (r *run) plainWord(w []byte) int32 {
	id, ok := r.l.words[string(w)]
	if !ok || len(w) < 3 {
		return -1
	}
	if in := &r.l.info[id]; !in.everyday || in.clinical || in.num != 0 || in.unit != noUnit {
		return -1
	}
	return r.l.plain
}

// hear counts a word of one language only.
func (r *run) hear(id int32) {
	for b, langs := 0, r.l.info[id].langs; b < len(r.langSeen); b++ {
		if langs == 1<<b {
			r.langSeen[b]++
		}
	}
}

// spoken are the languages that a slip may be of: all, unless one is heard
// plainly and another not at all.
func (r *run) spoken() uint8 {
	var heard uint8
	most := 0
	for b, n := range r.langSeen {
		if n > 0 {
			heard |= 1 << b
		}
		most = max(most, n)
	}
	if most < 2 {
		return 0
	}
	return heard
}
