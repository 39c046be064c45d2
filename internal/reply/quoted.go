package reply

import "slices"

// quotedList answers a prompt that was quoted back with its list of symptoms
// ("Any vomiting, fever or diarrhea?" yes the middle one): the answer says
// which of them is there.
func (r *run) quotedList() {
	if r.quoteEnd == 0 || r.reacted() {
		return
	}
	var asked []found
	start, end := r.quoteStart, r.quoteEnd
	r.quoteStart, r.quoteEnd = 0, 0
	have := len(r.matches)
	for i := range r.toks {
		t := &r.toks[i]
		if t.start < start || t.start >= end || t.kind != word || t.id < 0 || int(t.id) >= len(r.l.first) {
			continue
		}
		for _, p := range r.l.first[t.id] {
			if symptomatic(p.what) {
				r.try(p, i)
			}
		}
	}
	for i := have; i < len(r.matches); i++ {
		m := &r.matches[i]
		if !slices.ContainsFunc(asked, func(f found) bool { return f.from == m.from || f.codes[0] == m.pat.codes[0] }) {
			asked = append(asked, found{codes: m.pat.codes, from: m.from, to: m.to, mask: m.mask, by: -1, emergency: m.pat.what == whatEmergency})
		}
	}
	r.matches = r.matches[:have]
	r.quoteStart, r.quoteEnd = start, end
	if len(asked) == 0 {
		return
	}
	set := func(from, to int, status string) {
		for i := from; i < to && i < len(asked); i++ {
			if i >= 0 {
				asked[i].status = status
				r.facts = append(r.facts, asked[i])
			}
		}
	}
	n := len(asked)
	switch {
	case r.said("which_first"):
		set(0, 1, Present)
	case r.said("which_middle"):
		set(n/2, n/2+1, Present)
	case r.said("which_last"):
		set(n-1, n, Present)
	case r.said("which_all"):
		set(0, n, Present)
	case r.said("no") || r.said("none"):
		set(0, n, Absent)
	case r.said("yes"):
		set(0, n, Present)
	}
}

// moments lists what the text says of when the feed started, stopped, was
// paused or went on.
func (r *run) moments(out *Reading) {
	for k := range r.quants {
		q := &r.quants[k]
		if q.role != qClock && !(q.role == qSpan && (q.unit == unitMinute || q.unit == unitHour)) {
			continue
		}
		m := Moment{Kind: r.momentKind(q)}
		if q.role == qClock {
			m.Clock = r.clockOf(q)
		} else {
			if m.Kind == "at" || q.val < 0 || q.val > 1e6 {
				continue
			}
			n := int64(q.val + 0.5)
			if q.unit == unitHour {
				n = int64(q.val*60 + 0.5)
			}
			m.Minutes = &n
		}
		if m.Clock == "" && m.Minutes == nil {
			continue
		}
		m.Start, m.End = r.toks[q.from].start, r.toks[q.to-1].end
		m.Quote = r.text[m.Start:m.End]
		out.Moments = append(out.Moments, m)
	}
}

// momentKind is what happened at the time q, by the nearest answer before it
// in the sentence, else after it.
func (r *run) momentKind(q *quant) string {
	from, to := r.sentence(q.from)
	kind, best := "at", 1<<30
	for i := range r.matches {
		m := &r.matches[i]
		if m.pat.what != whatAnswer || m.from < from || m.to > to {
			continue
		}
		k := ""
		switch m.pat.label {
		case "started":
			k = "started"
		case "stopped", "done":
			k = "stopped"
		case "paused":
			k = "paused"
		case "resumed":
			k = "resumed"
		}
		if k == "" {
			continue
		}
		d := q.from - m.to
		if d < 0 {
			d = 3 * (m.from - q.to + 1)
		}
		if d >= 0 && d < best {
			kind, best = k, d
		}
	}
	return kind
}

func (r *run) clockOf(q *quant) string {
	t := &r.toks[q.from]
	h, m := int(q.val), 0
	switch {
	case t.kind == number && t.form == clock:
		m = int(t.den)
	case hhmm(t):
		h, m = int(q.val)/100, int(q.val)%100
	}
	for i := q.from; i < q.to; i++ {
		if r.has(i, rolePM) && h < 12 {
			h += 12
		}
	}
	if h < 0 || h > 23 || m < 0 || m > 59 {
		return ""
	}
	return string([]byte{byte('0' + h/10), byte('0' + h%10), ':', byte('0' + m/10), byte('0' + m%10)})
}
