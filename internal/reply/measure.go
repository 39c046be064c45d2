package reply

import "slices"

// measured turns numbers of temperature, sugar, oxygen and weight into facts,
// by the limits of the lists.
func (r *run) measured() {
	lim := &r.l.limits
	var weights []quant
	for k := range r.quants {
		q := &r.quants[k]
		switch q.role {
		case qTemp:
			if r.fever(q) {
				r.measure(q, "fever", false)
			}
		case qSugar:
			if q.val >= 20 && q.val < lim.LowSugar || q.val < 20 && q.val < lim.LowSugarMmol {
				r.measure(q, "low_sugar", false)
			}
		case qOxygen:
			if q.val < lim.LowOxygen {
				r.measure(q, "breathing", true)
			}
		case qWeight:
			weights = append(weights, *q)
		}
	}
	if n := len(weights); n >= 2 && weights[n-1].unit == weights[n-2].unit && weights[n-1].val < weights[n-2].val {
		q := weights[n-2]
		q.to = weights[n-1].to
		r.measure(&q, "other_worry", false)
	}
}

// fever tells whether a temperature is one of fever, in the degrees that its size says.
func (r *run) fever(q *quant) bool {
	switch {
	case q.unit == unitF || q.unit != unitC && q.val > 60:
		return q.val >= r.l.limits.FeverF && q.val < 115
	default:
		return q.val >= r.l.limits.FeverC && q.val < 46
	}
}

var measuredCodes = map[string][]string{
	"fever": {"fever"}, "low_sugar": {"low_sugar"}, "breathing": {"breathing"}, "other_worry": {"other_worry"},
}

func (r *run) measure(q *quant, code string, emergency bool) {
	var mask uint64
	for i := q.from; i < q.to && i-q.from < 64; i++ {
		mask |= 1 << (i - q.from)
	}
	r.facts = append(r.facts, found{codes: measuredCodes[code], from: q.from, to: q.to, mask: mask, emergency: emergency, by: -1})
}

// describe looks for how often, since when and how bad near f.
func (r *run) describe(f *found) {
	for k := range r.quants {
		q := &r.quants[k]
		if q.role != qCount || q.from < f.from-3 || q.from > f.to+4 {
			continue
		}
		if q.from >= f.to && !r.samePart(f.to, q.from) || q.to <= f.from && !r.samePart(q.to, f.from) {
			continue
		}
		f.count, f.counted = q.val, true
	}
	for i := max(0, f.from-3); i < min(len(r.toks), f.to+4); i++ {
		switch {
		case r.has(i, roleOnce) && r.toks[i].kind == word && r.num(i) < 0 && r.l.info[r.toks[i].id].unit == noUnit && !f.counted:
		case r.has(i, roleSevere):
			f.severity = "severe"
		case r.has(i, roleMild) && f.severity == "":
			f.severity = "mild"
		}
	}
	for k := range r.cues {
		if c := &r.cues[k]; c.label == cueSince && c.from >= f.from && c.from-f.to <= 8 && r.samePart(f.to, c.from) {
			f.since = r.quoteOf(c.from, c.to)
			break
		}
	}
}

// ellipsis reads "last week he threw up, nothing since": what is past is denied
// of now. It reads also "his brother has the runs, he doesn't": what was said of
// another is denied of the person fed.
func (r *run) ellipsis() {
	for k := range r.cues {
		c := &r.cues[k]
		want := Other
		switch c.label {
		case cueEllipsis:
		case cueNotSince:
			want = Past
		default:
			continue
		}
		for i := range r.facts {
			f := &r.facts[i]
			if f.status == want && f.to <= c.from {
				r.facts = append(r.facts, found{codes: f.codes, from: c.from, to: c.to, status: Absent, by: c.from, mask: 0})
				break
			}
		}
	}
}

// settle drops what a nearer reading of the same words says better: a worry
// beside a danger, a tube out where it is said to be partly out, and vomit
// where the words are of what comes up into the mouth.
func (r *run) settle() {
	danger := slices.ContainsFunc(r.facts, func(f found) bool {
		return f.emergency && f.status == Present && !slices.Contains(f.codes, "other_worry")
	})
	r.facts = slices.DeleteFunc(r.facts, func(f found) bool {
		if f.status != Present || f.emergency || len(f.codes) != 1 {
			return false
		}
		switch f.codes[0] {
		case "other_worry":
			return danger || r.besides(&f, "supplies", 0)
		case "leak", "skin":
			return r.bleeds(&f)
		case "tube_out":
			return r.besides(&f, "tube_moved", 4)
		case "vomiting":
			return r.besides(&f, "reflux", 0)
		}
		return false
	})
}

// bleeds tells whether a danger of bleeding is said with the same words as f.
func (r *run) bleeds(f *found) bool {
	return slices.ContainsFunc(r.facts, func(o found) bool {
		return o.emergency && o.status == Present && slices.Contains(o.codes, "bleeding") && o.from < f.to+1 && f.from < o.to+1
	})
}

// besides tells whether a present fact of the code lies within apart tokens of f.
func (r *run) besides(f *found, code string, apart int) bool {
	for i := range r.facts {
		o := &r.facts[i]
		if o.status == Present && slices.Contains(o.codes, code) && o.from < f.to+apart && f.from < o.to+apart {
			return true
		}
	}
	return false
}
