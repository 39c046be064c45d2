package regimen

import (
	"sync"
	"time"
)

// unit is one feed day under one order, worked out into groups.
type unit struct {
	f     frame
	occs  []occ
	acts  []raw
	group []group
}

// scratch is the room in which a look-up works, on its stack.
// Its thirds are roomy enough for most regimens; a fuller day grows on the heap.
type scratch struct {
	occs   [3][8]occ
	acts   [3][40]raw
	groups [3][16]group
}

// build works the unit out in the i-th third of the scratch.
func (u *unit) build(f frame, a *Actual, s *scratch, i int) {
	u.f = f
	u.occs = f.occurrences(a, s.occs[i][:0])
	level, ceiling := f.o.levelOn(f.start, a)
	u.acts = f.acts(u.occs, a, level, s.acts[i][:0])
	if level == Evening {
		ceiling = 1
	}
	u.acts = f.dropKnown(u.occs, u.acts, a)
	u.group = f.groups(u.acts, 0, ceiling, s.groups[i][:0])
}

// levelOn returns how much is asked on the feed day that starts at x, and how many texts it may have.
func (o *order) levelOn(x int64, a *Actual) (Level, int) {
	level, ceiling := o.level, o.perDay
	if x < o.newUntil {
		ceiling = o.perDayNew
	}
	if a != nil {
		if a.Level != "" {
			level = a.Level
		}
		if x < int64(a.LiftedUntil)/1000 {
			level, ceiling = EachStep, o.perDayNew
		}
	}
	return level, ceiling
}

// dropKnown leaves out what has been reported: it is not said or asked again.
func (f *frame) dropKnown(occs []occ, acts []raw, a *Actual) []raw {
	if a == nil || (len(a.Feeds) == 0 && len(a.Answered) == 0) {
		return acts
	}
	out := acts[:0]
	for _, r := range acts {
		if r.x >= 0 && f.known(&occs[r.x], &r, a) {
			continue
		}
		out = append(out, r)
	}
	return out
}

func (f *frame) known(x *occ, r *raw, a *Actual) bool {
	if act := x.act; act != nil {
		if x.done {
			return true
		}
		if act.Started != 0 && (r.send <= x.start || r.kind <= rankStart && r.kind != rankEnd && r.kind != rankFlushAfter) {
			return true // it is running; what its start text said has been said
		}
	}
	if len(a.Answered) == 0 {
		return false
	}
	var ask AskKind
	switch r.kind {
	case rankEnd, rankFlushAfter:
		ask = AskFeedEnd
	case rankReadBack:
		ask = AskReadBack
	case rankFlush, rankRefill, rankCheckin:
		// Once the end has been answered, nothing is left to do while it ran.
		return f.answered(x, a, AskFeedEnd)
	default:
		ask = AskFeedStart
		if f.answered(x, a, AskFeedEnd) {
			return true
		}
	}
	return f.answered(x, a, ask)
}

func (f *frame) answered(x *occ, a *Actual, ask AskKind) bool {
	var b [10]byte
	day := f.d.append(b[:0])
	for i := range a.Answered {
		k := a.Answered[i].Occurrence
		if a.Answered[i].Kind == ask && len(k) == 10+len(x.s.suffix) && k[10:] == x.s.suffix && k[:10] == string(day) {
			return true
		}
	}
	return false
}

// walker steps through the units of a plan in order of time.
type walker struct {
	p  *Plan
	k  int      // order
	d  dayIndex // feed day
	zs zoneSpan
}

// start places the walker on the unit that holds x, at the latest on the first
// one after it.
func (p *Plan) walker(x int64) walker {
	k := p.indexAt(x)
	w := walker{p: p, k: k}
	o := p.orders[k]
	if x < o.from {
		x = o.from
	}
	if x >= o.until && k+1 < len(p.orders) {
		// In a pause: the next order's first day.
		k++
		w.k, o = k, p.orders[k]
		x = o.from
	}
	d, m := localDay(o.loc, x)
	if m < o.dayStart {
		d--
	}
	w.d = d
	if x < w.frame().start { // a clock change moved the feed day's start
		w.d--
	}
	return w
}

// dayAt returns the feed day that holds x.
func (o *order) dayAt(x int64) dayIndex {
	d, m := localDay(o.loc, x)
	if m < o.dayStart {
		d--
	}
	// A feed day's start that a clock change moved decides by its instant.
	if x < resolveNear(o, d) {
		d--
	}
	return d
}

func resolveNear(o *order, d dayIndex) int64 {
	return resolve(o.loc, d, o.dayStart)
}

func (w *walker) back() bool {
	o := w.p.orders[w.k]
	if o.from == -forever || w.frame().start > o.from {
		w.d--
		return true
	}
	if w.k == 0 {
		return false
	}
	w.k--
	w.zs = zoneSpan{}
	w.d = w.p.orders[w.k].dayAt(w.p.orders[w.k].until - 1)
	return true
}

func (w *walker) forward() bool {
	o := w.p.orders[w.k]
	if w.frame().end < o.until {
		w.d++
		return true
	}
	if w.k+1 >= len(w.p.orders) {
		return false
	}
	w.k++
	w.zs = zoneSpan{}
	w.d = w.p.orders[w.k].dayAt(w.p.orders[w.k].from)
	return true
}

func (w *walker) frame() frame { return w.p.orders[w.k].frame(w.d, &w.zs) }

// horizon is how many feed days Next looks ahead: a weekly pattern repeats
// within eight, and a span can begin in the middle of one.
const horizon = 17

// Next returns the first prompt strictly after t, given what was reported. ok
// is false where nothing more is prescribed (the course has ended or is paused
// until a person acts). It takes the same time however far the calendar runs.
func (p *Plan) Next(after time.Time, now Actual) (Prompt, bool) {
	x := after.Unix() // a prompt stands on whole seconds: one at this second is not after
	s := scratches.Get().(*scratch)
	defer scratches.Put(s)
	return p.next(x, &now, s)
}

// scratches spares each look-up the making of its room. Nothing that Next
// returns points into it.
var scratches = sync.Pool{New: func() any { return new(scratch) }}

func (p *Plan) next(x int64, a *Actual, s *scratch) (Prompt, bool) {
	w := p.walker(x)
	var us [3]unit // the unit before, this one, the one after
	have := 0
	this := w.frame()
	if b := w; (len(a.Feeds) > 0 || x < this.start+this.o.overhang || x < this.o.from+2*day24h) && b.back() {
		us[0].build(b.frame(), a, s, 0)
		have = 1
	}
	us[have].build(this, a, s, have)
	have++
	more := true
	for i := 0; i < horizon; i++ {
		last := &us[have-1]
		best, bu := -1, -1
		for u := 0; u < have; u++ {
			for g := range us[u].group {
				at := mergedAt(us[:have], u, g)
				if at > x && (best < 0 || at < mergedAt(us[:have], bu, best)) {
					best, bu = g, u
				}
			}
		}
		if best >= 0 && (!more || mergedAt(us[:have], bu, best)+last.f.o.merge <= last.f.end) {
			return p.prompt(us[:have], bu, best, a), true
		}
		if !more {
			return Prompt{}, false
		}
		if more = w.forward(); !more {
			continue
		}
		if have < 3 {
			us[have].build(w.frame(), a, s, have)
			have++
			continue
		}
		// Move on by one, keeping the scratch thirds apart.
		us[0], us[1] = us[1], us[2]
		s.rotate(us[:])
		us[2].build(w.frame(), a, s, 2)
	}
	return Prompt{}, false
}

// rotate copies the second and third thirds forward, so that the third is free.
func (s *scratch) rotate(us []unit) {
	for i := range 2 {
		us[i].occs = append(s.occs[i][:0], us[i].occs...)
		us[i].acts = append(s.acts[i][:0], us[i].acts...)
		us[i].group = append(s.groups[i][:0], us[i].group...)
	}
}
