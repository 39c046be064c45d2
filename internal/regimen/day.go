package regimen

import (
	"time"

	"hearthline/internal/journal"
)

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

// Occurrence is one feed of one day.
type Occurrence struct {
	Key        string     `json:"key"`
	Feed       string     `json:"feed"`
	Kind       FeedKind   `json:"kind"`
	Start      time.Time  `json:"start"`
	End        time.Time  `json:"end"`
	ML         journal.ML `json:"ml"`                 // to be delivered by End
	ShortML    journal.ML `json:"short_ml,omitempty"` // of the prescribed volume, known not to be delivered
	RateMLPerH Milli      `json:"rate_ml_per_h"`
	Fills      []Fill     `json:"fills,omitempty"`
	// Decide: after what was reported it can neither end in time nor run on.
	Decide bool `json:"decide,omitempty"`
	// Carried: goes on from the order before, which a change ended in mid-feed.
	Carried bool `json:"carried,omitempty"`
	// Paused: it stands still, so that its End is not known.
	Paused bool `json:"paused,omitempty"`
	Done   bool `json:"done,omitempty"`
}

// Fill is what is poured into the bag at one time.
type Fill struct {
	At time.Time  `json:"at"`
	ML journal.ML `json:"ml"`
}
