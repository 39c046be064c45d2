package regimen

// frame is one feed day under one order: [start, end) in Unix seconds.
type frame struct {
	o          *order
	d          dayIndex
	start, end int64
	flat       bool // no clock change near: wall-clock minutes are elapsed minutes
}

// frame finds the feed day; zs is the zone's stretch looked up last, kept by
// the caller so that a run of days asks the zone once.
func (o *order) frame(d dayIndex, zs *zoneSpan) frame {
	f := frame{o: o, d: d}
	u := int64(d)*86400 + int64(o.dayStart)*60
	if zs.end == 0 {
		*zs = spanAt(o.loc, u) // within a day of the instant
	}
	if x := u - zs.offset; zs.end != 0 && x-day24h >= zs.start && x+2*day24h < zs.end {
		f.start, f.end, f.flat = x, x+day24h, true
		return f
	}
	f.start = resolve(o.loc, d, o.dayStart)
	*zs = spanAt(o.loc, f.start)
	if x := u - zs.offset; x == f.start && x-day24h >= zs.start && x+2*day24h < zs.end {
		f.end, f.flat = x+day24h, true
		return f
	}
	f.end = resolve(o.loc, d+1, o.dayStart)
	return f
}

// at returns the instant of a wall-clock reading, in minutes after the feed day's start.
func (f *frame) at(off int) int64 {
	if f.flat {
		return f.start + int64(off)*60
	}
	return resolve(f.o.loc, f.d, f.o.dayStart+off)
}

// firstAfter returns the first instant after x at which the clock shows minute of the day.
func (f *frame) firstAfter(x int64, minute int) int64 {
	off := (minute - f.o.dayStart + 1440) % 1440
	for k := -1; k < 4; k++ {
		if t := f.at(off + k*1440); t > x {
			return t
		}
	}
	return x
}

// weekday of a wall-clock offset: a feed at 02:00 of a feed day that starts at
// 07:00 is the next date's.
func (f *frame) has(days Weekdays, off int) bool {
	if days == 0 {
		return true
	}
	return days.Has((f.d + dayIndex((f.o.dayStart+off)/1440)).weekday())
}

// occ is one occurrence of a feed as it stands.
type occ struct {
	s            *slot
	d            dayIndex
	start, end   int64 // as it stands, after what was reported
	plan         int64 // prescribed start
	planEnd      int64
	ml           int64 // to be delivered by end
	short        int64 // of the prescribed volume, known not to be delivered
	act          *OccurrenceActual
	carried      bool // goes on from the order before, in mid-feed
	cutEnd       bool // ended by a change, a pause or a limit before its time
	decide       bool // neither can it end in time nor run on: a person decides
	openPause    bool
	done         bool // ended or skipped by report
	changesBag   bool
	prescribedML int64
}

const maxOccs = 32

// occurrences appends the feed day's occurrences as they stand, in order of
// their starts. a may be nil.
func (f *frame) occurrences(a *Actual, buf []occ) []occ {
	o := f.o
	first := len(buf)
	prevEnd := -forever
	if !f.flat {
		prevEnd = f.lastEndBefore()
	}
	for i := range o.slots {
		s := &o.slots[i]
		if !f.has(s.days, s.off) {
			continue
		}
		x := occ{s: s, d: f.d, start: f.at(s.off), ml: s.ml, prescribedML: s.ml}
		pushed := false
		if x.start < prevEnd && !s.round {
			// The clock jumped forward while the feed before was running: one
			// pump gives one feed at a time, so this one begins when that ends.
			x.start, pushed = prevEnd, true
		}
		x.end = x.start + s.dur
		if s.round {
			x.end = f.nextRound(i)
			if el := x.end - x.start; el != s.dur {
				x.ml = halfUp(s.ml*el, s.dur)
				x.prescribedML = x.ml
			}
		}
		if pushed {
			if limit := f.nextStart(i); x.end > limit {
				x.cut(limit)
			}
		}
		x.plan, x.planEnd = x.start, x.end
		prevEnd = x.end
		if !o.clip(f, &x) {
			continue
		}
		buf = append(buf, x)
	}
	if a != nil && len(a.Feeds) > 0 {
		f.applyActual(a, buf[first:])
	}
	return buf
}

// cut ends the occurrence at t, by the rate it runs at; the rest is known short.
func (x *occ) cut(t int64) {
	run := max(t-x.start, 0)
	given := x.ml * run / max(x.end-x.start, 1)
	x.short += x.ml - given
	x.ml, x.end, x.cutEnd = given, max(t, x.start), true
}

// lastEndBefore returns the end of the last feed of the day before, by its wall-clock start.
func (f *frame) lastEndBefore() int64 {
	o, y := f.o, f.d-1
	last := -forever
	for i := range o.slots {
		s := &o.slots[i]
		if s.days == 0 || s.days.Has((y + dayIndex((o.dayStart+s.off)/1440)).weekday()) {
			last = max(last, resolve(o.loc, y, o.dayStart+s.off)+s.dur)
		}
	}
	return last
}

// nextRound returns when the next feed of a round-the-clock regimen begins.
func (f *frame) nextRound(i int) int64 {
	if i+1 < len(f.o.slots) {
		return f.at(f.o.slots[i+1].off)
	}
	return f.at(1440 + f.o.slots[0].off)
}

// nextStart returns the prescribed start of the feed that follows slot i, today
// or on a later day; forever where there is none within eight days.
func (f *frame) nextStart(i int) int64 {
	o := f.o
	for j := i + 1; j < len(o.slots); j++ {
		if f.has(o.slots[j].days, o.slots[j].off) {
			return f.at(o.slots[j].off)
		}
	}
	return f.firstStartOfLaterDay()
}

func (f *frame) firstStartOfLaterDay() int64 {
	o := f.o
	for k := 1; k <= 8; k++ {
		for j := range o.slots {
			if f.has(o.slots[j].days, o.slots[j].off+k*1440) {
				return f.at(o.slots[j].off + k*1440)
			}
		}
	}
	return forever
}
