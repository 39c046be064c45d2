package regimen

// applyActual moves the occurrences by what was reported. Nothing of another
// day moves: a late feed ends before the next one begins, or a person decides.
func (f *frame) applyActual(a *Actual, occs []occ) {
	var b [10]byte
	day := f.d.append(b[:0])
	for i := range occs {
		x := &occs[i]
		for j := range a.Feeds {
			k := a.Feeds[j].Key
			if len(k) == len(day)+len(x.s.suffix) && k[10:] == x.s.suffix && k[:10] == string(day) {
				x.act = &a.Feeds[j]
				f.move(x, a)
				break
			}
		}
	}
}

// move re-anchors one occurrence.
func (f *frame) move(x *occ, a *Actual) {
	r := x.act
	if r.Skipped {
		x.short, x.ml, x.end, x.done = x.prescribedML, 0, x.start, true
		return
	}
	dur := x.end - x.start
	if r.Started != 0 {
		x.start = int64(r.Started) / 1000
	}
	if r.Stopped != 0 {
		x.end, x.done = max(int64(r.Stopped)/1000, x.start), true
		if r.GivenML != nil {
			x.ml, x.short = int64(*r.GivenML), max(x.prescribedML-int64(*r.GivenML), 0)
		}
		return
	}
	if x.cutEnd && r.Started == 0 && len(r.Pauses) == 0 && r.PausedAt == 0 {
		return
	}
	x.end = x.finish(dur)
	x.openPause = r.PausedAt != 0
	if x.s.round {
		x.end = x.planEnd // the pump never stops: what a pause costs is short
		x.cutTo(x.planEnd, dur)
		return
	}
	next := min(f.nextStart(f.index(x.s)), f.o.until)
	if x.s.mustEnd >= 0 {
		next = min(next, max(f.firstAfter(x.plan, x.s.mustEnd), x.planEnd))
		x.cutTo(next, dur)
		return
	}
	if bag := f.bagDue(x, a); bag < next {
		next = bag
	}
	if x.end > next {
		x.decide = true
		x.cutTo(next, dur)
	}
}

// bagDue returns when the bag that the occurrence runs through must be changed,
// where that is known.
func (f *frame) bagDue(x *occ, a *Actual) int64 {
	if hung := int64(a.BagHung) / 1000; hung > 0 && f.o.bagMax > 0 && x.s.pump && hung <= x.start+f.o.merge && hung+f.o.bagMax > x.start {
		return hung + f.o.bagMax
	}
	return forever
}

func (f *frame) index(s *slot) int {
	for i := range f.o.slots {
		if &f.o.slots[i] == s {
			return i
		}
	}
	return 0
}

// finish returns when run seconds of feeding are done, the pauses counted in.
func (x *occ) finish(run int64) int64 {
	t := x.start + run
	if x.act == nil {
		return t
	}
	for _, p := range x.act.Pauses { // in the order in which they were reported
		if at := int64(p.At) / 1000; at < t {
			t += int64(p.For) * 60
		}
	}
	return t
}

// cutTo ends a moved occurrence at t where it would run past it; run is how
// many seconds of feeding it needs.
func (x *occ) cutTo(t, run int64) {
	full := x.finish(run)
	if full <= t {
		return
	}
	missing := min(full-t, run)
	short := (x.ml*missing + run - 1) / max(run, 1)
	x.short += short
	x.ml -= short
	x.end, x.cutEnd = max(t, x.start), true
}
