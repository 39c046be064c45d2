package reply

// terms judges each further word or phrase asked about, wherever it stands in
// the text, like a symptom. A term that does not occur is left out.
func (r *run) terms(out *Reading, terms []string) {
	for _, term := range terms {
		if f, ok := r.findTerm(term); ok {
			r.assert(&f)
			out.Terms[term] = f.status
		}
	}
}

func (r *run) findTerm(term string) (found, bool) {
	var t run
	t.l = r.l
	t.scan(term)
	var want []string
	for i := range t.toks {
		if t.toks[i].kind == word || t.toks[i].kind == number {
			want = append(want, t.letters(i, term))
		}
	}
	if len(want) == 0 {
		return found{}, false
	}
	for i := range r.toks {
		// A merged token holds several words: compare letters of the text itself.
		if end, ok := r.spells(i, want); ok {
			var mask uint64
			for k := 0; k < end-i && k < 64; k++ {
				mask |= 1 << k
			}
			return found{codes: []string{""}, from: i, to: end, mask: mask, by: -1}, true
		}
	}
	return found{}, false
}

func (r *run) letters(i int, text string) string {
	t := &r.toks[i]
	if t.b > t.a {
		return string(r.arena[t.a:t.b])
	}
	return text[t.start:t.end]
}

// spells tells whether the words want stand at token i on.
func (r *run) spells(i int, want []string) (end int, ok bool) {
	for k := 0; k < len(want); {
		if i >= len(r.toks) {
			return 0, false
		}
		t := &r.toks[i]
		if t.kind == comma || t.kind == mark {
			if k == 0 {
				return 0, false
			}
			i++
			continue
		}
		if t.kind == stop {
			return 0, false
		}
		var sub run
		sub.l = r.l
		sub.scan(r.text[t.start:t.end])
		for j := range sub.toks {
			if sub.toks[j].kind != word && sub.toks[j].kind != number {
				continue
			}
			if k >= len(want) || sub.letters(j, r.text[t.start:t.end]) != want[k] {
				return 0, false
			}
			k++
		}
		i++
	}
	return i, true
}
