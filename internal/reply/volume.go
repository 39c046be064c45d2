package reply

import "hearthline/internal/journal"

// volumes is what the numbers and words of a text say of formula and water.
type volumes struct {
	given, flush, mouth *int64
	uncertain           bool // spoken of, and not knowable
	prior               bool // of an earlier feed
	only                bool // said to be short
	unit                bool // a unit was written
	words               bool // said as a part or as what was left, and not as a bare number
	source              int  // token of the given volume, -1 where words said it
}

// ml is a quantity in millilitres, or false where the unit is not known.
func (r *run) ml(q *quant, asked *Asked) (float64, bool) {
	lim := &r.l.limits
	switch q.unit {
	case unitML:
		return q.val, true
	case unitLitre:
		return q.val * 1000, true
	case unitOz:
		return q.val * lim.OzML, true
	case unitCup:
		return q.val * lim.CupML, true
	case unitTsp:
		return q.val * lim.TspML, true
	case unitTbsp:
		return q.val * lim.TbspML, true
	case unitContainer:
		if asked != nil && asked.ContainerML != nil {
			return q.val * float64(*asked.ContainerML), true
		}
		if asked != nil && asked.ExpectedML != nil && asked.Kind == FeedEnd && q.val == 1 && !q.part && r.has(q.from-1, roleWhole) {
			return float64(*asked.ExpectedML), true
		}
		return 0, false
	case unitPercent:
		if asked != nil && asked.ExpectedML != nil {
			return q.val * float64(*asked.ExpectedML) / 100, true
		}
		return 0, false
	case noUnit:
		if q.part {
			if asked != nil && asked.ExpectedML != nil && asked.Kind == FeedEnd {
				return q.val * float64(*asked.ExpectedML), true
			}
			return 0, false
		}
		return q.val, true
	}
	return 0, false
}

func rounded(v float64) *int64 {
	if v < 0 || v > 1e6 {
		return nil
	}
	n := journal.HalfUp(int64(v*1000+0.5), 1000)
	return &n
}

// roles decides what each volume is of: formula, water, by mouth, what is left,
// what was ordered, what came out.
func (r *run) volumeRoles(asked *Asked) {
	feedEnd := asked != nil && asked.Kind == FeedEnd
	flush := asked != nil && asked.Kind == Flush
	for k := range r.quants {
		q := &r.quants[k]
		if q.role == qPercent && feedEnd && asked.ExpectedML != nil && q.val <= 130 {
			q.role = r.roleOf(q, k)
			if q.role == qUnknown {
				q.role = qGiven
			}
			continue
		}
		if q.role != qUnknown || !(q.unit.volume() || q.unit == noUnit) {
			continue
		}
		role := r.roleOf(q, k)
		if role == qGiven && flush && !r.anyRole(roleFeed) {
			role = qFlush // "done 45 ml" answering a flush
		}
		if role == qGiven && q.bare && q.val < 10 && !q.part {
			role = qUnknown // "gave the one"
		}
		if role == qUnknown {
			switch {
			case !q.bare && q.unit.volume() && (feedEnd || r.gaveNear(q)):
				role = qGiven
			case !q.bare && flush:
				role = qFlush
			case q.bare && feedEnd && r.barelyVolume(q, asked):
				role = qGiven
			case q.bare && flush && q.val >= 5 && q.val <= 500 && !q.part && !r.later():
				role = qFlush
			case q.bare && q.val >= 20 && !q.part && r.gaveNear(q):
				role = qGiven
			case !q.bare && q.unit.volume() && asked == nil && r.toks[q.from].kind == number:
				role = qGiven
			}
		}
		if q.role == qUnknown {
			q.role = role
		}
		if q.role == qUnknown && q.bare && !feedEnd && r.later() {
			q.role = qSpan // "snooze 30"
		}
	}
}

// barelyVolume tells whether a bare number can be the millilitres of a feed.
func (r *run) barelyVolume(q *quant, asked *Asked) bool {
	if q.part {
		return asked.ExpectedML != nil
	}
	t := &r.toks[q.from]
	if hhmm(t) && asked.ExpectedML != nil && q.val > 1.5*float64(*asked.ExpectedML) {
		q.role = qClock
		return false
	}
	if t.kind == number && t.form == fraction {
		return q.val >= 10
	}
	if asked.ExpectedML != nil && int64(q.val) == *asked.ExpectedML {
		return true
	}
	return q.val >= 20 && q.val <= 3000 && q.val == float64(int64(q.val))
}

// roleOf looks at the words around a volume.
func (r *run) roleOf(q *quant, k int) qrole {
	from, to := r.clause(q.from)
	lo, hi := from, to
	if k > 0 && r.quants[k-1].to > lo && r.volumeish(k-1) {
		lo = r.quants[k-1].to
	}
	if k+1 < len(r.quants) && r.quants[k+1].from < hi && r.volumeish(k+1) {
		hi = r.quants[k+1].from
	}
	role := qUnknown
	if k > 0 && r.quants[k-1].role == qFlush && q.from-r.quants[k-1].to <= 3 && r.has(q.to, roleEach|roleRound) && r.has(r.quants[k-1].to, roleEach|roleRound) {
		return qFlush // "60 before and 60 after"
	}
	for i := q.from - 1; i > 0 && i >= q.from-2; i-- { // "all but an ounce"
		if r.has(i, roleBut) && r.has(i-1, roleWhole) {
			return qLeft
		}
	}
	// Just after: "60 water", "240 of formula", "5 left", "180 by tube".
	for i, n := q.to, 0; i < hi && n < 6; i, n = i+1, n+1 {
		switch {
		case n < 4 && r.has(i, roleWater):
			if n == 0 && i+1 == hi && k+1 < len(r.quants) && r.quants[k+1].from == hi && r.has(q.from-1, roleGave) {
				return qGiven // "gave 240 flushed 60": the water is the next number's
			}
			return qFlush
		case n < 5 && r.has(i, roleLeft):
			return qLeft
		case r.has(i, roleTube):
			return qGiven
		case n < 4 && r.has(i, roleMouth):
			return qMouth
		case n < 4 && r.has(i, roleDrawn):
			return qDrawn
		case n < 3 && r.has(i, roleGave):
			role = qGiven
		}
		if role != qUnknown || r.has(i, roleAnd) {
			break
		}
	}
	// Just before, nearest first.
	for i, n := q.from-1, 0; i >= lo && n < 8; i, n = i-1, n+1 {
		switch {
		case n < 2 && r.has(i, roleTotal) && k > 0 && r.quants[k-1].to >= i-1 && r.volumeish(k-1):
			return qTotal
		case n < 2 && r.has(i, roleNot):
			return qWrong
		case n < 3 && r.has(i, roleBut) && !r.has(i, roleContrast):
			return qLeft
		case r.has(i, roleLeft) && n < 5:
			return qLeft
		case r.has(i, roleWater) && role == qUnknown && n < 5:
			return qFlush
		case r.has(i, roleMouth) && role == qUnknown:
			return qMouth
		case r.has(i, roleDrawn) && n < 5:
			return qDrawn
		case r.has(i, rolePlan):
			return qPlanned
		case r.has(i, roleFuture) && n < 4:
			return qPlanned
		case r.has(i, rolePoured) && role == qUnknown && n < 5:
			return qPoured
		case r.has(i, roleGave) && role == qUnknown:
			role = qGiven
		}
	}
	for i := range r.facts { // "threw up 30 ml": what came out
		f := &r.facts[i]
		if f.to <= q.from && q.from-f.to <= 4 && role != qGiven && r.samePart(f.to, q.from) && r.has(q.to, roleSpill|roleTotal) {
			return qDrawn
		}
		if f.to <= q.from && q.from-f.to <= 2 && role == qUnknown && !q.bare && spills(f) {
			return qDrawn
		}
	}
	return role
}

func spills(f *found) bool {
	for _, c := range f.codes {
		switch c {
		case "vomiting", "reflux", "leak", "bleeding":
			return true
		}
	}
	return false
}

func (r *run) samePart(a, b int) bool {
	for i := a; i < b; i++ {
		if r.toks[i].kind == stop || r.toks[i].kind == comma {
			return false
		}
	}
	return true
}

func (r *run) volumeish(k int) bool {
	q := &r.quants[k]
	return q.unit.volume() || q.unit == noUnit && (q.role == qUnknown || q.role >= qGiven && q.role <= qWrong)
}

// gaveNear tells whether a word of giving stands in the clause of q.
func (r *run) gaveNear(q *quant) bool {
	from, to := r.clause(q.from)
	for i := from; i < to; i++ {
		if r.has(i, roleGave) && (i < q.from || i-q.to < 4) {
			return true
		}
	}
	return false
}

// later tells whether the text puts the thing off.
func (r *run) later() bool { return r.said("later") || r.said("not_yet") }

// volumes adds up what was given, flushed and drunk.
func (r *run) volumes(asked *Asked) volumes {
	r.volumeRoles(asked)
	v := volumes{source: -1}
	feedEnd := asked != nil && asked.Kind == FeedEnd
	var sum, left, water, mouth float64
	var gaves, lefts, waters, mouths int
	known := true
	last := -1
	equals := false
	for k := range r.quants {
		q := &r.quants[k]
		m, ok := r.ml(q, asked)
		switch q.role {
		case qGiven:
			if !ok {
				known = false
				break
			}
			if q.unit != noUnit {
				v.unit = true
			}
			switch {
			case gaves == 0:
				sum = m
			case feedEnd && r.priorFeed(r.quants[last].from, asked) && !r.priorFeed(q.from, asked):
				sum, v.source = m, q.from // the asked feed's, not last night's
			case r.isMark(q.from-1, '=') || r.totals(q):
				sum, equals = m, true
			case equals:
			case r.corrects(q):
				sum = m
			case r.adds(last, q, sum, m, asked):
				sum += m
			case r.isMark(q.from-1, '-'):
				v.uncertain = true
			}
			if v.source < 0 {
				v.source = q.from
			}
			v.words = v.words || q.part
			gaves++
			last = k
		case qLeft:
			if ok {
				left += m
				lefts++
			} else {
				known = false
			}
		case qFlush:
			if ok {
				if waters > 0 && r.corrects(q) {
					water = 0
				}
				if r.eachWay(q) {
					m *= 2
				}
				water += m
				waters++
			}
		case qMouth:
			if ok {
				mouth += m
				mouths++
			}
		}
	}
	if waters > 0 {
		v.flush = rounded(water)
	}
	if mouths > 0 {
		v.mouth = rounded(mouth)
	}
	switch {
	case gaves > 0 && known:
		v.given = rounded(sum)
	case !known:
		v.uncertain = true
	case lefts > 0 && feedEnd && !r.said("running") && asked.ExpectedML != nil && left <= float64(*asked.ExpectedML):
		v.given, v.words = rounded(float64(*asked.ExpectedML)-left), true
	case lefts > 0:
		v.uncertain = !r.said("running")
	case mouths > 0 && feedEnd:
		v.uncertain = true
	}
	v.prior = v.given != nil && r.priorFeed(v.source, asked)
	v.only = r.said("stopped") || r.anyRole(roleOnly)
	return v
}

func (r *run) anyRole(role uint64) bool {
	for i := range r.toks {
		if r.has(i, role) && !r.toks[i].quoted(r) {
			return true
		}
	}
	return false
}

// corrects tells whether q takes back the volume before it.
func (r *run) corrects(q *quant) bool {
	for i, n := q.from-1, 0; i >= 0 && n < 5; i, n = i-1, n+1 {
		if r.has(i, roleCorrect) || r.isMark(i, '*') {
			return true
		}
		if r.isNumber(i) {
			return false
		}
	}
	return r.has(q.to, roleCorrect) || r.isMark(q.to, '*')
}

// totals tells whether q is said as the sum ("total 240", "240 in all").
func (r *run) totals(q *quant) bool {
	return r.near(q, 3, 3, roleSum)
}

// adds tells whether q is a further part of the same feed.
func (r *run) adds(last int, q *quant, sum, m float64, asked *Asked) bool {
	if last < 0 {
		return false
	}
	if asked != nil && asked.ExpectedML != nil && int64(sum+m+0.5) == *asked.ExpectedML {
		return true
	}
	for i := r.quants[last].to; i < q.to+2 && i < len(r.toks); i++ {
		if r.has(i, roleMore) || r.isMark(i, '+') || r.has(i, roleAnd) {
			return true
		}
	}
	return false
}

// eachWay tells whether a flush was given twice ("60 before and after").
func (r *run) eachWay(q *quant) bool {
	for i, n := q.to, 0; i < len(r.toks) && n < 5 && r.toks[i].kind != stop; i, n = i+1, n+1 {
		if r.has(i, roleEach) {
			return true
		}
		if r.isNumber(i) {
			return false
		}
	}
	return false
}

// priorFeed tells whether the given volume is said of an earlier feed than the
// one asked: the text says so and a feed end was not what was asked, or it was
// and another feed is named.
func (r *run) priorFeed(source int, asked *Asked) bool {
	if source < 0 {
		return false
	}
	from, to := r.sentence(source)
	for i := from; i < to; i++ {
		if r.has(i, rolePrior) {
			return true
		}
	}
	return false
}
