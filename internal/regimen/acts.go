package regimen

import "slices"

// raw is an act before it becomes part of a prompt, without strings.
type raw struct {
	at   int64 // of the act
	send int64 // when its prompt would go out
	ml   int32
	x    int16 // index of its occurrence; -1 for water that belongs to no feed
	n    int16 // medicines, or for a port's flush the port
	kind rank
	give class
	wake bool
}

// rank orders acts of one instant as hands do them.
type rank uint8

const (
	rankPlacement rank = iota
	rankEnd
	rankFlushAfter
	rankMedication
	rankPort
	rankBag
	rankFlushBefore
	rankFill
	rankStart
	rankFlush
	rankRefill
	rankReadBack
	rankCheckin
)

func (r rank) kind() ActKind {
	switch r {
	case rankPlacement:
		return ActPlacementCheck
	case rankEnd:
		return ActFeedEnd
	case rankMedication:
		return ActMedication
	case rankBag:
		return ActBagChange
	case rankFill, rankRefill:
		return ActFill
	case rankStart:
		return ActFeedStart
	case rankReadBack, rankCheckin:
		return ActCheckin
	}
	return ActFlush
}

// class is what gives way first when a day has more prompts than its ceiling:
// the lowest class of the day is folded into a neighbour. A feed's start goes
// last: a feed that nobody is reminded of is not given.
type class uint8

const (
	giveFlush class = iota
	givePort
	giveMedication
	giveEnd
	giveFill
	giveShortStart
	giveStart
)

// acts appends everything that the feed day prescribes, in order of sending.
func (f *frame) acts(occs []occ, a *Actual, level Level, buf []raw) []raw {
	o := f.o
	first := len(buf)
	for i := range occs {
		buf = f.feedActs(occs, i, a, buf)
	}
	for i := range o.medications {
		m := &o.medications[i]
		buf = f.clockAct(buf, m, rankMedication, giveMedication, int16(m.medicines))
	}
	for i := range o.ports {
		m := &o.ports[i]
		n := int16(0)
		if m.port == JejunalPort {
			n = 1
		}
		buf = f.clockAct(buf, m, rankPort, givePort, n)
	}
	slices.SortStableFunc(buf[first:], compareAct)
	buf = f.dropNearFlushes(occs, buf, first)
	f.send(occs, buf[first:], level)
	slices.SortStableFunc(buf[first:], compareSend)
	return buf
}

func compareAct(a, b raw) int {
	if a.at != b.at {
		if a.at < b.at {
			return -1
		}
		return 1
	}
	return int(a.kind) - int(b.kind)
}

func compareSend(a, b raw) int {
	if a.send != b.send {
		if a.send < b.send {
			return -1
		}
		return 1
	}
	return compareAct(a, b)
}

func (f *frame) clockAct(buf []raw, m *clockAct, k rank, c class, n int16) []raw {
	at := f.at(m.off)
	if at < f.o.from || at >= f.o.until {
		return buf
	}
	return append(buf, raw{at: at, ml: int32(m.ml), x: -1, n: n, kind: k, give: c})
}

// feedActs appends the acts of one occurrence.
func (f *frame) feedActs(occs []occ, i int, a *Actual, buf []raw) []raw {
	o, x := f.o, &occs[i]
	if x.done && x.act.Skipped {
		return buf
	}
	put := func(at int64, k rank, ml int64, c class) {
		buf = append(buf, raw{at: at, ml: int32(ml), x: int16(i), kind: k, give: c})
	}
	water := &o.p.Flush
	begin := giveStart
	if x.s.dur <= int64(o.lim.OneTextUpTo)*60 {
		begin = giveShortStart
	}
	switch {
	case x.carried:
		put(x.start, rankReadBack, x.ml, giveStart)
	default:
		if o.checksPlace {
			put(x.start, rankPlacement, 0, begin)
		}
		if x.changesBag = x.s.pump && f.changesBag(occs, i, x.start, a); x.changesBag {
			put(x.start, rankBag, 0, begin)
		}
		if water.BeforeML > 0 && !x.s.round {
			put(x.start, rankFlushBefore, int64(water.BeforeML), begin)
		}
		put(x.start, rankStart, x.ml, begin)
	}
	buf = f.fillActs(occs, i, a, buf, begin)
	if every := int64(hours(o.p.Flush.EveryH)); every > 0 {
		every /= 1e9
		// While it runs: at the very end the flush after it takes over; where
		// the pump never stops, the last flush of the day stands on its end.
		base := x.start
		if x.carried && x.s.round {
			base = f.at(x.s.off)
		}
		for t := base + every; t < x.end || (x.s.round && t == x.end); t += every {
			if t <= x.start {
				continue
			}
			if x.openPause && t > int64(x.act.PausedAt)/1000 {
				break
			}
			put(t, rankFlush, int64(water.EveryML), giveFlush)
		}
	}
	if x.openPause {
		t := int64(x.act.PausedAt)/1000 + int64(o.lim.PauseCheckin)*60
		put(t, rankCheckin, 0, giveStart)
		return buf
	}
	if x.cutEnd && x.end >= o.until && o.next != nil && x.short == 0 {
		return buf // goes on under the next order
	}
	put(x.end, rankEnd, x.ml, giveEnd)
	if water.AfterML > 0 && !x.s.round {
		put(x.end, rankFlushAfter, int64(water.AfterML), giveEnd)
	}
	return buf
}

// fillActs appends the fills; those of a feed that was moved are worked out
// anew, since formula in the bag ages while the pump stands still.
func (f *frame) fillActs(occs []occ, i int, a *Actual, buf []raw, begin class) []raw {
	x := &occs[i]
	if !x.s.pump {
		return buf
	}
	b := f.o.band(f.d)
	fills := x.s.fills[b]
	var fb [maxFills]fill
	if x.start != x.plan || x.end != x.start+x.s.dur || x.ml != x.s.ml {
		fills = x.refill(fills, f.o.limits[b], fb[:0])
	}
	for j, fl := range fills {
		at := x.start + fl.off
		if j == 0 {
			buf = append(buf, raw{at: at, ml: int32(fl.ml), x: int16(i), kind: rankFill, give: begin})
			continue
		}
		if x.openPause && at > int64(x.act.PausedAt)/1000 {
			break
		}
		if f.changesBag(occs, i, at, a) {
			buf = append(buf, raw{at: at, x: int16(i), kind: rankBag, give: giveFill})
		}
		buf = append(buf, raw{at: at, ml: int32(fl.ml), x: int16(i), kind: rankRefill, give: giveFill})
	}
	return buf
}

const maxFills = 32

// refill works out the fills of an occurrence that does not run as ordered:
// the ordered sizes, each replaced when it has hung for limit seconds at the latest.
func (x *occ) refill(planned []fill, limit int64, out []fill) []fill {
	run := max(x.feeding(), 1)
	var done, hung int64 // mL poured so far; instant of the last pouring
	hung = x.start
	size := func(k int) int64 {
		if k < len(planned) {
			return planned[k].ml
		}
		return planned[0].ml
	}
	for k := 0; done < x.ml && len(out) < maxFills; k++ {
		ml := min(size(k), x.ml-done)
		off := hung - x.start
		end := min(x.finish(run*(done+ml)/x.ml), x.end)
		if end-hung > limit {
			// What has not run in by then is thrown away and poured anew.
			ml = min(max(x.by(hung+limit, run)-done, 1), ml)
			end = hung + limit
		}
		out = append(out, fill{off: off, ml: ml})
		done, hung = done+ml, end
	}
	return out
}

// feeding returns how many seconds of x's time the pump runs.
func (x *occ) feeding() int64 {
	run := x.end - x.start
	if x.act != nil {
		for _, p := range x.act.Pauses {
			run -= int64(p.For) * 60
		}
	}
	return run
}

// by returns the volume that has run in by t.
func (x *occ) by(t, run int64) int64 {
	lo, hi := int64(0), x.ml
	for lo < hi {
		mid := (lo + hi + 1) / 2
		if x.finish(run*mid/x.ml) <= t {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return lo
}

// changesBag decides whether the bag is changed at the start or fill at instant
// t. Where it is known when the bag was hung, it is changed at the last start or
// fill before its time is up. Otherwise it is assumed to be changed at the
// first start of each feed day, and within the day whenever it would be too old
// before the next start.
func (f *frame) changesBag(occs []occ, i int, t int64, a *Actual) bool {
	o := f.o
	if o.bagMax == 0 {
		return false
	}
	if a != nil && a.BagHung != 0 {
		hung := int64(a.BagHung) / 1000
		due := hung + o.bagMax
		if due >= f.start && hung < f.end {
			if t <= hung {
				return false
			}
			if t <= due {
				return f.nextPour(occs, i, t) > due
			}
			// Overdue: at the first start or fill that comes after, unless one
			// before it was in time.
			return !f.pourBetween(occs, max(hung, f.start-1), t)
		}
	}
	hung := -forever
	for j := range occs {
		if !occs[j].s.pump || occs[j].carried {
			continue
		}
		if occs[j].start > t {
			break
		}
		// The bag must last to the next start or fill, or to the day's last end.
		until := f.pourAfter(occs, j, occs[j].start)
		if until == forever {
			until = occs[j].end
		}
		if hung == -forever || until > hung+o.bagMax {
			hung = occs[j].start
		}
		if occs[j].start == t {
			return hung == t
		}
	}
	return false
}

// nextPour returns the next start or fill after t, today or later.
func (f *frame) nextPour(occs []occ, i int, t int64) int64 {
	if next := f.pourAfter(occs, i, t); next != forever {
		return next
	}
	return f.firstStartOfLaterDay()
}

// pourAfter returns the next start or fill of the day after t; forever where there is none.
func (f *frame) pourAfter(occs []occ, i int, t int64) int64 {
	b := f.o.band(f.d)
	for j := i; j < len(occs); j++ {
		x := &occs[j]
		if !x.s.pump {
			continue
		}
		if x.start > t {
			return x.start
		}
		for _, fl := range x.s.fills[b] {
			if at := x.start + fl.off; at > t && at < x.end {
				return at
			}
		}
	}
	return forever
}

// pourBetween reports whether the day has a start or fill after lo and before hi.
func (f *frame) pourBetween(occs []occ, lo, hi int64) bool {
	next := f.pourAfter(occs, 0, lo)
	return next < hi
}
