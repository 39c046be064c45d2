package reply

import (
	"slices"
	"strings"
)

// Read reads one text. It is pure and deterministic, never panics on any
// bytes, and costs a bounded amount of work for each byte.
func (l *Lists) Read(t Text) Reading {
	r := runs.Get().(*run)
	defer runs.Put(r)
	r.reset(l, t.Text)
	out := Reading{
		ID: t.ID, Present: []string{}, Absent: []string{}, Intent: []string{}, Facts: []Fact{}, Moments: []Moment{},
		Unread: []string{}, Terms: map[string]string{},
	}
	asked := t.Asked
	r.scan(t.Text)
	r.quote()
	r.lookup()
	out.Lang = r.language(t.Lang)
	r.matchAll()
	r.sift()
	r.quantities()
	r.measured()
	for i := range r.facts {
		r.describe(&r.facts[i])
	}
	for i := range r.facts {
		if f := &r.facts[i]; f.status == "" {
			r.assert(f)
		}
	}
	r.settle()
	r.ellipsis()
	r.quotedList()
	v := r.volumes(asked)
	r.list(&out)
	r.intents(&out, asked)
	r.answer(&out, asked, v)
	r.moments(&out)
	r.terms(&out, t.Terms)
	r.account()
	r.unreadWords(&out)
	r.handle(&out, asked, v)
	return out
}

// language names the language of most listed words, or mixed.
func (r *run) language(hint string) string {
	best, second, at := 0, 0, -1
	for b, n := range r.langSeen {
		if n > best {
			best, second, at = n, best, b
		} else if n > second {
			second = n
		}
	}
	switch {
	case at < 0 || at >= len(r.l.langs):
		if slices.Contains(r.l.langs, hint) {
			return hint
		}
		if len(r.l.langs) > 0 {
			return r.l.langs[0]
		}
		return "en"
	case second >= 2, second == 1 && best <= 3 && hint == "mixed":
		return "mixed"
	}
	return r.l.langs[at]
}

// quote finds a prompt quoted back, and a phone's reaction line with the text
// it reacts to: neither is what the caregiver says.
func (r *run) quote() {
	first := -1
	for i := range r.toks {
		if r.toks[i].kind == mark && r.toks[i].sym == '"' {
			first = i
			break
		}
	}
	if first < 0 {
		if len(r.toks) > 0 && r.isMark(0, '>') {
			for i := range r.toks {
				if r.toks[i].kind == stop && r.toks[i].sym == '\n' {
					r.quoteStart, r.quoteEnd = 0, r.toks[i].start
					return
				}
			}
		}
		return
	}
	lastQuote := first
	asks := false
	for i := first + 1; i < len(r.toks); i++ {
		if r.toks[i].kind == stop && r.toks[i].sym == '?' && lastQuote == first {
			asks = true
		}
		if r.isMark(i, '"') {
			lastQuote = i
		}
	}
	if lastQuote == first {
		return
	}
	if asks || first <= 4 && first > 0 && lastQuote >= len(r.toks)-2 {
		r.quoteStart, r.quoteEnd = r.toks[first].start, r.toks[lastQuote].end
	}
}

// reacted tells whether the text is a phone's reaction line.
func (r *run) reacted() bool { return r.quoteEnd > 0 && r.said("reaction") }

// sift keeps of all matches those that stand: the longest wins over what it
// holds, benign phrases explain away the symptoms inside them, and cues and
// answers inside a symptom are part of it.
func (r *run) sift() {
	r.kept = r.kept[:0]
	for i := range r.matches {
		if !r.beaten(i) {
			r.kept = append(r.kept, r.matches[i])
		}
	}
	r.matches, r.kept = r.kept, r.matches
	for i := range r.matches {
		m := &r.matches[i]
		switch m.pat.what {
		case whatSymptom, whatEmergency, whatUnlessAlert, whatDenied:
			r.addFact(m)
		}
	}
	r.matches = slices.DeleteFunc(r.matches, func(m match) bool { // "it all came back up"
		return m.pat.what == whatAnswer && m.pat.label == "all" && slices.ContainsFunc(r.facts, func(f found) bool { return f.from < m.to+1 && f.from > m.from })
	})
	r.matches = slices.DeleteFunc(r.matches, func(m match) bool { // "every bit of it"
		return m.pat.what == whatAnswer && m.pat.label == "partly" && slices.ContainsFunc(r.matches, func(o match) bool {
			return o.pat != nil && o.pat.what == whatAnswer && o.pat.label == "all" && o.from <= m.from && o.to > m.from
		})
	})
	for i := range r.matches {
		if m := &r.matches[i]; m.pat.what == whatCue {
			r.cues = append(r.cues, cue{from: m.from, to: m.to, label: m.pat.label})
		}
	}
	slices.SortStableFunc(r.cues, func(a, b cue) int { return a.from - b.from })
	var fakes []cue
	for i := range r.cues {
		if r.cues[i].label == cuePseudo {
			fakes = append(fakes, r.cues[i])
		}
	}
	if len(fakes) == 0 {
		return
	}
	pseudo := r.cues[:0]
	at := 0
	for _, c := range r.cues {
		for at < len(fakes) && fakes[at].from+widest < c.from {
			at++
		}
		faked := false
		for k := at; k < len(fakes) && fakes[k].from <= c.from && !faked; k++ {
			faked = fakes[k].to >= c.to && c.label != cuePseudo
		}
		if !faked {
			pseudo = append(pseudo, c)
		}
	}
	r.cues = pseudo
}

// widest is how many tokens a match spans at most.
const widest = 64

func symptomatic(w what) bool { return w <= whatDenied }

// beaten tells whether another match takes the place of match i.
func (r *run) beaten(i int) bool {
	m := &r.matches[i]
	j := i // matches lie in order of where they begin, and span at most widest tokens
	for j > 0 && r.matches[j-1].from > m.from-widest {
		j--
	}
	for ; j < len(r.matches) && r.matches[j].from < m.to; j++ {
		if j == i {
			continue
		}
		o := &r.matches[j]
		inside := o.from <= m.from && o.to >= m.to && o.to-o.from > m.to-m.from
		same := o.from == m.from && o.to == m.to
		switch {
		case symptomatic(m.pat.what):
			if o.pat.what == whatBenign && (inside || same) && m.pat.what != whatEmergency {
				return true
			}
			if o.pat.what == whatBenign && (inside || o.pat.label == "thing_colour" && o.from == m.to-1 && m.to-m.from > 1) {
				return true // inside a harmless phrase, or its colour is of the thing that follows
			}
			if symptomatic(o.pat.what) && inside && !r.gapHolds(o, m) && (m.pat.what == whatSymptom || o.pat.what != whatSymptom) {
				return true
			}
		case m.pat.what == whatCue:
			if symptomatic(o.pat.what) && r.allTaken(o, m) {
				return true
			}
			if o.pat.what == whatCue && inside && o.pat.label == m.pat.label {
				return true
			}
		case m.pat.what == whatAnswer:
			if symptomatic(o.pat.what) && (r.allTaken(o, m) || m.pat.label == "all" && o.from < m.from && o.took(m.from)) {
				return true
			}
			if (o.pat.what == whatAnswer || o.pat.what == whatBenign || o.pat.what == whatIntent) && inside {
				return true
			}
		case m.pat.what == whatIntent:
			if (o.pat.what == whatBenign) && inside || o.pat.what == whatIntent && inside && o.pat.label != m.pat.label && o.pat.label == "no_opt_out" {
				return true
			}
			if symptomatic(o.pat.what) && r.allTaken(o, m) && o.to-o.from > m.to-m.from {
				return true
			}
		}
	}
	return false
}

// gapHolds tells whether m lies wholly in a gap of o, where it stands for itself.
func (r *run) gapHolds(o, m *match) bool {
	for i := m.from; i < m.to; i++ {
		if o.took(i) {
			return false
		}
	}
	return true
}

// allTaken tells whether o's elements took every token of m.
func (r *run) allTaken(o, m *match) bool {
	for i := m.from; i < m.to; i++ {
		if !o.took(i) {
			return false
		}
	}
	return true
}

func (r *run) addFact(m *match) {
	f := found{codes: m.pat.codes, from: m.from, to: m.to, mask: m.mask, by: -1,
		emergency: m.pat.what == whatEmergency, alertable: m.pat.what == whatUnlessAlert}
	if m.pat.what == whatDenied {
		f.status = Absent
	}
	r.facts = append(r.facts, f)
}

// said tells whether an answer of this label stands in the text.
func (r *run) said(label string) bool { return r.answerAt(label) != nil }

func (r *run) answerAt(label string) *match {
	for i := range r.matches {
		if m := &r.matches[i]; m.pat.what == whatAnswer && m.pat.label == label {
			return m
		}
	}
	return nil
}

// list fills facts, present and absent, in order of place.
func (r *run) list(out *Reading) {
	slices.SortStableFunc(r.facts, func(a, b found) int {
		if a.from != b.from {
			return a.from - b.from
		}
		return b.to - a.to
	})
	add := func(list *[]string, code string) {
		if !slices.Contains(*list, code) {
			*list = append(*list, code)
		}
	}
	for i := range r.facts {
		f := &r.facts[i]
		for _, code := range f.codes {
			start, end := r.toks[f.from].start, r.toks[f.to-1].end
			fact := Fact{Code: code, Status: f.status, Quote: r.text[start:end], Start: start, End: end, Since: f.since, Severity: f.severity}
			if slices.ContainsFunc(out.Facts[max(0, len(out.Facts)-8):], func(x Fact) bool { return x.Code == code && x.Start == start && x.End == end }) {
				continue
			}
			if f.counted && f.count >= 0 && f.count < 1000 {
				n := int64(f.count)
				fact.Count = &n
			}
			out.Facts = append(out.Facts, fact)
			switch f.status {
			case Present:
				add(&out.Present, code)
			case Absent:
				add(&out.Absent, code)
			}
		}
	}
	out.Absent = slices.DeleteFunc(out.Absent, func(c string) bool { return slices.Contains(out.Present, c) })
	slices.Sort(out.Present)
	slices.Sort(out.Absent)
}

// unreadWords lists the words that nothing accounted for, each once.
func (r *run) unreadWords(out *Reading) {
	for i := range r.toks {
		t := &r.toks[i]
		if r.plain[i] || t.kind != word && t.kind != number {
			continue
		}
		w := r.text[t.start:t.end]
		if !slices.Contains(out.Unread, w) && len(out.Unread) < 64 {
			out.Unread = append(out.Unread, w)
		}
	}
	if rest := strings.TrimSpace(r.text[r.cut:]); rest != "" {
		if len(rest) > 80 {
			rest = strings.ToValidUTF8(rest[:80], "")
		}
		out.Unread = append(out.Unread, rest)
	}
}
