package regimen

// clip keeps what of x lies in the order's span; ok is false where nothing does.
func (o *order) clip(f *frame, x *occ) bool {
	if x.start >= o.until {
		return false
	}
	if x.start < o.from {
		if x.end <= o.from || !o.carry(f, x) {
			return false
		}
	}
	if x.end > o.until {
		x.cut(o.until)
		if o.next != nil && o.next.carriesOn(x) {
			// What is left goes on under the next order: not short.
			x.prescribedML, x.short = x.ml, 0
		}
		x.planEnd = x.end
	}
	return true
}

// carry makes x go on from the order's first instant: with what the order
// before had not delivered of the volume, or, where the pump never stops, with
// the time that is left.
func (o *order) carry(f *frame, x *occ) bool {
	s := x.s
	if s.round {
		x.ml = halfUp(x.ml*(x.end-o.from), x.end-x.start)
		x.prescribedML = x.ml
		x.start, x.plan, x.carried = o.from, o.from, true
		return true
	}
	if o.prev == nil {
		return false
	}
	given, ok := o.prev.deliveredBy(s.feed.Name, o.from)
	if !ok || given >= s.ml {
		return false
	}
	x.ml = s.ml - given
	x.prescribedML = x.ml
	x.start, x.plan, x.carried = o.from, o.from, true
	x.end = x.start + max((s.dur*x.ml/s.ml+30)/60, 1)*60
	if limit := f.nextStart(f.index(s)); x.end > limit {
		x.cut(limit) // the rest would run into the next feed
	}
	x.planEnd = x.end
	return true
}

// carriesOn reports whether the order takes over a feed that its predecessor was running at its first instant.
func (o *order) carriesOn(x *occ) bool {
	for i := range o.slots {
		if s := &o.slots[i]; s.feed.Name == x.s.feed.Name && (s.ml > x.ml || s.round) {
			d, m := localDay(o.loc, o.from)
			if m < o.dayStart {
				d--
			}
			var zs zoneSpan
			for _, day := range [2]dayIndex{d, d - 1} {
				f := o.frame(day, &zs)
				st := f.at(s.off)
				if f.has(s.days, s.off) && st < o.from && st+s.dur > o.from {
					return true
				}
			}
		}
	}
	return false
}

// deliveredBy returns what the order had delivered, by its own rate, of the
// feed that it was running at x; ok is false where it ran none of that name.
func (o *order) deliveredBy(name string, x int64) (ml int64, ok bool) {
	d, m := localDay(o.loc, x)
	if m < o.dayStart {
		d--
	}
	var zs zoneSpan
	for _, day := range [2]dayIndex{d, d - 1} {
		f := o.frame(day, &zs)
		for i := range o.slots {
			s := &o.slots[i]
			if s.feed.Name != name || !f.has(s.days, s.off) {
				continue
			}
			st := f.at(s.off)
			if st < x && x < st+s.dur && st >= o.from {
				return s.ml * (x - st) / s.dur, true
			}
		}
	}
	return 0, false
}
