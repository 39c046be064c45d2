package regimen

import (
	"fmt"
	"slices"
	"sort"
	"strconv"
	"time"
)

// Plan is a course compiled so that any instant can be asked for. It is
// immutable and safe for concurrent use; nothing in it grows with the calendar.
type Plan struct {
	orders []*order
}

const (
	forever = int64(1) << 50 // Unix seconds that no regimen reaches
	day24h  = int64(24 * 3600)
)

// order is one compiled span.
type order struct {
	from, until int64 // Unix seconds, [from, until)
	p           *Prescription
	lim         *Limits
	loc         *time.Location
	dayStart    int // minutes after midnight
	slots       []slot
	medications []clockAct
	ports       []clockAct
	level       Level
	perDay      int
	perDayNew   int
	newUntil    int64
	merge       int64 // seconds
	apart       int64 // seconds
	quiet       bool
	quietFrom   int
	quietUntil  int
	checkin     int
	// bands are the first days of the age bands in which hang limits differ.
	bands  []dayIndex
	limits []int64 // hang limit in seconds, one a band
	bagMax int64   // seconds; 0: no bag
	// overhang is how long after a feed day's start a text of the day before can
	// still go out, or be one with a text of this day.
	overhang int64
	prev     *order // the order that this one follows without a gap
	next     *order // the order that follows without a gap
	reads    []readBack
	// checksPlace: the start text asks where the tube is (tubes through the nose).
	checksPlace bool
}

// slot is one occurrence a day of a feed.
type slot struct {
	feed    *FeedOrder
	suffix  string // "/noon#1", which follows the day in an occurrence's key
	off     int    // minutes by the wall clock after the feed day's start
	days    Weekdays
	dur     int64 // seconds, whole minutes
	ml      int64
	round   bool // the pump never stops: it runs to the next start, whatever the clocks do
	mustEnd int  // minutes after midnight; -1: none
	wake    wakeRule
	pump    bool // drives through a bag
	fills   [][]fill
}

type wakeRule uint8

const (
	wakeStarts wakeRule = iota
	wakeAll
	wakeNothing
)

// clockAct is water at a time of day that belongs to no feed.
type clockAct struct {
	off       int
	ml        int64
	medicines int
	port      Port
}

type readBack struct {
	feed     string
	now, was *FeedOrder
	first    int64 // instant of the first act under the new order
}

// Compile makes one prescription computable, in force without first or last instant.
func Compile(p *Prescription, lim *Limits) (*Plan, error) {
	return CompileCourse(&Course{Spans: []Span{{Prescription: p}}}, lim)
}

// CompileCourse makes a course computable. It fails on a course whose spans
// overlap, on a changed order that nobody checked, and on a prescription that
// [Parse] would not have returned.
func CompileCourse(c *Course, lim *Limits) (*Plan, error) {
	if err := c.validate(); err != nil {
		return nil, err
	}
	pl := &Plan{}
	for i := range c.Spans {
		o, err := compileSpan(&c.Spans[i], lim)
		if err != nil {
			return nil, fmt.Errorf("regimen: span %d: %w", i, err)
		}
		if i > 0 {
			last := pl.orders[i-1]
			if last.until == o.from {
				o.prev, last.next = last, o
			}
		}
		pl.orders = append(pl.orders, o)
	}
	for _, o := range pl.orders {
		o.findReadBacks()
	}
	return pl, nil
}

func compileSpan(s *Span, lim *Limits) (*order, error) {
	p := s.Prescription
	if len(p.Feeds) == 0 {
		return nil, ErrNoFeeds
	}
	if p.TimeZone == "" {
		return nil, fmt.Errorf("no time zone")
	}
	loc, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return nil, fmt.Errorf("time zone: %w", err)
	}
	o := &order{
		from: -forever, until: forever, p: p, lim: lim, loc: loc, dayStart: int(p.FeedDayStarts),
		level: p.Prompts.Level, perDay: lim.PromptsPerDay, perDayNew: lim.PromptsPerDayNew, newUntil: -forever,
		merge: int64(lim.MergeMin) * 60, apart: int64(lim.FlushApart) * 60,
		quietFrom: int(lim.QuietFrom), quietUntil: int(lim.QuietUntil), checkin: int(lim.CheckinAt),
	}
	if s.From != 0 {
		o.from = int64(s.From) / 1000
		o.newUntil = o.from + lim.NewDays*day24h
	}
	if s.Until != 0 {
		o.until = int64(s.Until) / 1000
	}
	if o.level == "" {
		o.level = lim.DefaultLevel
	}
	if n := p.Prompts.PerDay; n > 0 {
		o.perDay, o.perDayNew = n, max(n, lim.PromptsPerDayNew)
	}
	if m := p.Prompts.MergeMin; m > 0 {
		o.merge = int64(m) * 60
	}
	if q := p.Prompts.Quiet; q != nil {
		o.quietFrom, o.quietUntil = int(q.From), int(q.Until)
	}
	o.checksPlace = p.PlacementCheck != nil && p.Tube.Kind.Nasal()
	o.quiet = o.quietFrom != o.quietUntil
	// Two hours cover a clock change; quiet hours can hold a question back.
	o.overhang = 2*3600 + 3*o.merge
	if o.quiet {
		o.overhang += int64((o.quietUntil-o.dayStart+1440)%1440) * 60 % day24h
		if span := (o.quietUntil - o.quietFrom + 1440) % 1440; (o.dayStart-o.quietFrom+1440)%1440 >= span {
			o.overhang = 2*3600 + 3*o.merge // quiet hours do not reach over the day's start
		}
	}
	if c := p.Prompts.CheckinAt; c != nil {
		o.checkin = int(*c)
	}
	if p.Bag.ChangeEveryH > 0 {
		o.bagMax = int64(hours(min(p.Bag.ChangeEveryH, lim.SetH)) / time.Second)
	} else if slices.ContainsFunc(p.Feeds, func(f FeedOrder) bool { return f.By == ByPump }) {
		o.bagMax = int64(hours(lim.SetH) / time.Second) // not said: as long as a bag and set may be used
	}
	o.compileBands()
	if err := o.compileSlots(); err != nil {
		return nil, err
	}
	o.compileWater()
	return o, nil
}

func hours(h Milli) time.Duration { return time.Duration(h) * (time.Hour / 1000) }

// after returns c as minutes by the wall clock after the feed day's start.
func (o *order) after(c Clock) int { return (int(c) - o.dayStart + 1440) % 1440 }

// compileBands finds from which day on which hang limit holds: the limit can
// change as a child grows, on the first day after the birth month's last that
// completes so many months.
func (o *order) compileBands() {
	f := o.p.Formula
	seconds := func(age int) int64 { d, _ := o.lim.HangLimit(f, age); return int64(d / time.Second) }
	o.bands, o.limits = []dayIndex{-1 << 30}, []int64{seconds(-1)}
	if o.p.BirthMonth == "" {
		return
	}
	y, m := splitMonth(o.p.BirthMonth)
	o.limits[0] = seconds(0)
	seen := map[int]bool{}
	var ages []int
	for _, r := range o.lim.Hang {
		if r.UnderMonths > 0 && !seen[r.UnderMonths] {
			seen[r.UnderMonths] = true
			ages = append(ages, r.UnderMonths)
		}
	}
	sort.Ints(ages)
	for _, age := range ages {
		if s := seconds(age); s != o.limits[len(o.limits)-1] {
			// Day 0 of the month after is the birth month's last day, as many months on.
			o.bands = append(o.bands, dayIndexOf(y, time.Month(m+age+1), 0))
			o.limits = append(o.limits, s)
		}
	}
}

func splitMonth(s string) (year, month int) {
	year, _ = strconv.Atoi(s[:4])
	month, _ = strconv.Atoi(s[5:])
	return year, month
}

func (o *order) band(d dayIndex) int {
	b := 0
	for i := 1; i < len(o.bands); i++ {
		if d >= o.bands[i] {
			b = i
		}
	}
	return b
}

func (o *order) compileSlots() error {
	p := o.p
	container, keep := int64(p.Formula.ContainerML), int64(hours(o.lim.KeepOpenedH)/time.Second)
	if p.Formula.KeepH > 0 {
		keep = int64(hours(p.Formula.KeepH) / time.Second)
	}
	capacity := int64(p.Bag.CapacityML)
	if p.closed() {
		// What hangs is the container itself: nothing is poured together, and
		// nothing of one is kept for the next.
		if capacity == 0 || container < capacity {
			capacity = container
		}
		keep = 0
	}
	for i := range p.Feeds {
		f := &p.Feeds[i]
		if f.VolumeML < 1 || f.RateMLPerH < 1 || len(f.Starts) == 0 {
			return fmt.Errorf("feed %q has no volume, rate or start", f.Name)
		}
		starts := make([]int, len(f.Starts))
		for j, c := range f.Starts {
			starts[j] = o.after(c)
		}
		sort.Ints(starts)
		for j, off := range starts {
			s := slot{
				feed: f, suffix: "/" + f.Name + "#" + strconv.Itoa(j+1), off: off, days: f.Days, dur: feedSeconds(f),
				ml: int64(f.VolumeML), mustEnd: -1, wake: wakeOf(f, p), pump: f.By != BySyringe,
			}
			if c := f.MustEndBy; c != nil {
				s.mustEnd = int(*c)
			} else if p.MustEndBy != nil {
				s.mustEnd = int(*p.MustEndBy)
			}
			if s.pump {
				for _, limit := range o.limits {
					s.fills = append(s.fills, planFills(s.ml, s.dur, limit, capacity, container, keep))
				}
			}
			o.slots = append(o.slots, s)
		}
	}
	sort.SliceStable(o.slots, func(i, j int) bool { return o.slots[i].off < o.slots[j].off })
	o.markRound()
	return nil
}

// feedSeconds is how long a feed runs, to the whole minute, at least one.
func feedSeconds(f *FeedOrder) int64 {
	var s int64
	if f.Given[1] == "hours" {
		s = halfUp(int64(f.Hours)*3600, 1000)
	} else {
		s = halfUp(int64(f.VolumeML)*3_600_000, int64(f.RateMLPerH))
	}
	return max((s+30)/60, 1) * 60
}

func wakeOf(f *FeedOrder, p *Prescription) wakeRule {
	w := f.Wake
	if w == nil {
		w = p.Prompts.Wake
	}
	switch {
	case w == nil:
		return wakeStarts
	case *w:
		return wakeAll
	}
	return wakeNothing
}

// markRound finds the round-the-clock regimen: every day alike, each feed
// ending where the next begins. There the pump never stops, so that a day with
// a clock change is 23 or 25 hours of feed; nothing could be moved to make it 24.
func (o *order) markRound() {
	for i := range o.slots {
		next := 1440 + o.slots[0].off
		if i+1 < len(o.slots) {
			next = o.slots[i+1].off
		}
		if o.slots[i].days != 0 || o.slots[i].dur != int64(next-o.slots[i].off)*60 {
			return
		}
	}
	for i := range o.slots {
		o.slots[i].round = true
	}
}

func (o *order) compileWater() {
	f := o.p.Flush
	for _, m := range f.Medication {
		// Before, between and after: one flush more than there are medicines.
		o.medications = append(o.medications, clockAct{off: o.after(m.At), ml: int64(f.MedicationML) * int64(m.Medicines+1), medicines: m.Medicines})
	}
	for _, pf := range f.Ports {
		for _, c := range pf.At {
			o.ports = append(o.ports, clockAct{off: o.after(c), ml: int64(pf.ML), port: pf.Port})
		}
	}
	for _, acts := range [][]clockAct{o.medications, o.ports} {
		sort.SliceStable(acts, func(i, j int) bool { return acts[i].off < acts[j].off })
	}
}

// Formula returns the composition of the formula last ordered.
func (p *Plan) Formula() Composition { return p.orders[len(p.orders)-1].composition() }

// FormulaAt returns the composition of the formula in force at t, or of the
// order next to it where none is.
func (p *Plan) FormulaAt(t time.Time) Composition { return p.orderAt(t.Unix()).composition() }

func (o *order) composition() Composition {
	f := o.p.Formula
	return Composition{EnergyKcalPerML: f.EnergyKcalPerML, ProteinGPerL: f.ProteinGPerL, WaterFraction: f.WaterFraction, ContainerML: f.ContainerML}
}

// orderAt returns the order in force at x; in a pause the one before it, before all the first.
func (p *Plan) orderAt(x int64) *order { return p.orders[p.indexAt(x)] }

func (p *Plan) indexAt(x int64) int {
	for i := len(p.orders) - 1; i > 0; i-- {
		if p.orders[i].from <= x {
			return i
		}
	}
	return 0
}

// Location is the household's time zone at t.
func (p *Plan) Location(t time.Time) *time.Location { return p.orderAt(t.Unix()).loc }

// Prescription returns the order in force at t, or the nearest before it. It is
// shared: do not change it.
func (p *Plan) Prescription(t time.Time) *Prescription { return p.orderAt(t.Unix()).p }

// key returns an occurrence's stable key.
func (s *slot) key(d dayIndex) string {
	var b [64]byte
	return string(append(d.append(b[:0]), s.suffix...))
}
