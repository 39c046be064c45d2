package regimen

import (
	"fmt"
	"sort"
	"time"

	"hearthline/internal/journal"
)

// check looks for contradictions once every field could be read, and for what
// a second person must confirm.
func (r *reader) check() {
	r.checkTube()
	for i := range r.p.Feeds {
		r.checkFeed(i)
	}
	r.checkGap()
	if len(r.d.probs) > 0 {
		return
	}
	r.checkWeek()
	r.checkAdvance()
	r.checkFlushes()
	r.checkDates()
	if len(r.d.probs) > 0 {
		return
	}
	o, err := compileSpan(&Span{Prescription: &r.p}, r.lim)
	if err != nil {
		r.wrong("feeds", err.Error(), "")
		return
	}
	o.warnHang(r)
	o.warnNights(r)
	o.warnCeiling(r)
	r.checkDays(o)
}

func (r *reader) checkTube() {
	p := &r.p
	if p.PlacementCheck != nil {
		if p.PlacementCheck.MarkCM == 0 && p.PlacementCheck.PHMax == 0 {
			r.wrong("placement_check", "neither mark_cm nor ph_max is given", "one of them at least")
		}
		if !p.Tube.Kind.Nasal() {
			r.warn("placement_check", "A placement check is ordered, but the tube is a %s: mark and pH are looked at for tubes through the nose, and no text will ask for them.", p.Tube.Kind)
		} else if p.Tube.Kind == Nasojejunal && p.PlacementCheck.PHMax > 0 {
			r.warn("placement_check", "The tip of a nasojejunal tube lies beyond the acid stomach: pH says nothing about its place.")
		}
	}
	if p.Tube.Kind == Nasogastric && p.PlacementCheck == nil {
		r.warn("tube.kind", "The tube is nasogastric and no placement_check is given: no start text will ask for it.")
	}
	twoPorts := p.Tube.Kind == Gastrojejunostomy
	for i, f := range p.Feeds {
		if f.Port != "" && !twoPorts {
			r.wrong(fmt.Sprintf("feeds[%d].port", i), fmt.Sprintf("a port is named, but a %s tube has one port", p.Tube.Kind), "leave port out, or kind gastrojejunostomy")
		}
		if twoPorts && f.Port == "" {
			r.wrong(fmt.Sprintf("feeds[%d]", i), "the tube has two ports and the feed names none", "port: gastric or port: jejunal")
		}
	}
	if len(p.Flush.Ports) > 0 && !twoPorts {
		r.wrong("flush.ports", fmt.Sprintf("a %s tube has one port", p.Tube.Kind), "leave ports out, or kind gastrojejunostomy")
	}
}

func (r *reader) checkFeed(i int) {
	p, f := &r.p, &r.p.Feeds[i]
	path := fmt.Sprintf("feeds[%d]", i)
	rateAt := path + ".rate_ml_per_h"
	if _, ok := r.at[rateAt]; !ok {
		rateAt = path
	}
	if f.By == ByPump {
		if f.RateMLPerH > r.lim.RateRefuse {
			r.wrong(rateAt, fmt.Sprintf("%s mL/h is beyond what pumps do", f.RateMLPerH), fmt.Sprintf("at most %s mL/h; by: syringe or by: gravity where no pump is used", r.lim.RateRefuse))
		} else if f.RateMLPerH > r.lim.RateConfirm {
			r.warn(rateAt, "%s mL/h is above %s mL/h.", f.RateMLPerH, r.lim.RateConfirm).Accept = true
		}
	}
	jejunal := p.Tube.Kind == Nasojejunal || p.Tube.Kind == Jejunostomy || f.Port == JejunalPort
	if jejunal && (f.Kind == Bolus || f.By == BySyringe) {
		r.wrong(path, "a bolus into the jejunum", "a continuous or cyclic feed by pump; the jejunum cannot hold a bolus")
	}
	if f.Hours > 24_000 {
		r.wrong(path, fmt.Sprintf("%d mL at %s mL/h take %s h", f.VolumeML, f.RateMLPerH, f.Hours), "at most 24 h")
	}
	if c := f.mustEnd(p); c != nil {
		for _, s := range f.Starts {
			room := (int(*c) - int(s) + 1440) % 1440
			if room == 0 {
				room = 1440
			}
			if need := int(feedSeconds(f) / 60); need > room {
				field := "must_end_by"
				if f.MustEndBy != nil {
					field = path + "." + field
				}
				r.wrong(field, fmt.Sprintf("feed %q must end by %s, but from %s its %d mL at %s mL/h run until %s (it takes %d min, %d min are left)",
					f.Name, *c, s, f.VolumeML, f.RateMLPerH, clockAt(int(s)+need), need, room), "a later must_end_by, an earlier start or a higher rate")
			}
		}
	}
	// A feed day begins at an hour that no feed crosses.
	for _, s := range f.Starts {
		off := (int(s) - int(p.FeedDayStarts) + 1440) % 1440
		if end := off + int(feedSeconds(f)/60); end > 1440 {
			r.wrong(path, fmt.Sprintf("the feed runs from %s to %s and crosses the start of the feed day at %s", s, clockAt(int(s)+int(feedSeconds(f)/60)), p.FeedDayStarts),
				"feed_day_starts at an hour that no feed crosses")
		}
	}
}

func (f *FeedOrder) mustEnd(p *Prescription) *Clock {
	if f.MustEndBy != nil {
		return f.MustEndBy
	}
	return p.MustEndBy
}

func clockAt(minute int) Clock { return Clock((minute%1440 + 1440) % 1440) }

// checkGap holds the rules on the longest time without feed.
func (r *reader) checkGap() {
	p := &r.p
	if p.LongestGapH > 0 && p.IfFeedStops == "" {
		r.wrong("longest_gap_h", "longest_gap_h is given without if_feed_stops", "if_feed_stops: the key of this household's signed text")
	}
	if p.SugarLowering && (p.LongestGapH == 0 || p.IfFeedStops == "") {
		r.wrong("sugar_lowering", "sugar_lowering is true without longest_gap_h and if_feed_stops", "both of them")
	}
}

// run is one feed of the week by the clock on the wall, in minutes from Sunday 00:00.
type run struct {
	from, to int
	feed     int
}

// week returns every feed of a week that has no clock change, in order.
func (p *Prescription) week() []run {
	var out []run
	for i := range p.Feeds {
		f := &p.Feeds[i]
		n := int(feedSeconds(f) / 60)
		for d := range 7 {
			if !f.Days.Has(time.Weekday(d)) {
				continue
			}
			for _, s := range f.Starts {
				from := d*1440 + int(s)
				out = append(out, run{from, from + n, i})
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].from < out[j].from })
	return out
}

const weekMinutes = 7 * 1440

func weekTime(m int) string {
	m = (m%weekMinutes + weekMinutes) % weekMinutes
	return dayNames[m/1440] + " " + clockAt(m).String()
}

// checkWeek finds overlapping feeds and the longest time without feed.
func (r *reader) checkWeek() {
	p := &r.p
	week := p.week()
	told := map[[2]int]bool{}
	longest, at := 0, 0
	for i := range week {
		a := week[i]
		b := week[(i+1)%len(week)]
		next := b.from
		if i+1 == len(week) {
			next += weekMinutes
		}
		if a.to > next && !told[[2]int{a.feed, b.feed}] {
			told[[2]int{a.feed, b.feed}] = true
			r.wrong(fmt.Sprintf("feeds[%d]", b.feed), fmt.Sprintf("%q starts at %s while %q runs until %s", p.Feeds[b.feed].Name, weekTime(b.from), p.Feeds[a.feed].Name, weekTime(a.to)),
				"one feed at a time on one pump")
		}
		if gap := next - a.to; gap > longest {
			longest, at = gap, a.to
		}
	}
	if g := p.LongestGapH; g > 0 && longest*1000 > int(g)*60 {
		r.warn("longest_gap_h", "The longest time without feed is prescribed as %s h, but the feeds themselves leave %s h without, from %s.",
			g, Milli(longest*1000/60), weekTime(at))
	}
}

func (r *reader) checkAdvance() {
	a := r.p.Advance
	if a == nil {
		return
	}
	for i := range r.p.Feeds {
		f := &r.p.Feeds[i]
		if f.Name != a.Feed {
			continue
		}
		now := f.RateMLPerH
		if a.What == "volume_ml" {
			now = Milli(f.VolumeML * 1000)
		} else {
			if a.Step > r.lim.AdvanceMaxStep {
				r.warn("advance.step", "The rate goes up by %s mL/h a step, more than the usual %s mL/h.", a.Step, r.lim.AdvanceMaxStep)
			}
			if a.Goal > r.lim.RateRefuse {
				r.wrong("advance.goal", fmt.Sprintf("%s mL/h is beyond what pumps do", a.Goal), fmt.Sprintf("at most %s mL/h", r.lim.RateRefuse))
			}
		}
		if a.Goal <= now {
			r.wrong("advance.goal", fmt.Sprintf("the goal %s is not above what feed %q has now, %s", a.Goal, f.Name, now), "a goal above it, or no advance")
		}
		return
	}
	r.wrong("advance.feed", fmt.Sprintf("no feed is called %q", a.Feed), "the name of one of the feeds")
}

func (r *reader) checkFlushes() {
	f := &r.p.Flush
	for _, v := range []struct {
		field string
		ml    journal.ML
	}{{"flush.before_ml", f.BeforeML}, {"flush.after_ml", f.AfterML}, {"flush.every_ml", f.EveryML}, {"flush.medication_ml", f.MedicationML}} {
		if v.ml > r.lim.FlushMaxML {
			r.warn(v.field, "%d mL is more than the %d mL that one flush usually has.", v.ml, r.lim.FlushMaxML)
		}
	}
	if h := r.p.Bag.ChangeEveryH; h > r.lim.SetH {
		r.warn("bag.change_every_h", "The bag is to be changed every %s h, but a bag and set are used for %s h at most; %s h is planned.", h, r.lim.SetH, r.lim.SetH)
	}
}

// checkDates compares with today's date, where it is known.
func (r *reader) checkDates() {
	p := &r.p
	if p.WeightKg > 0 && p.WeightOn == "" {
		r.warn("weight_kg", "The weight has no date (weight_on): nobody can tell whether it is too old.")
	}
	if r.today.IsZero() {
		return
	}
	loc, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return
	}
	y, m, d := r.today.In(loc).Date()
	today := dayIndexOf(y, m, d)
	if placed, ok := parseDay(p.Tube.Placed); ok && placed > today {
		r.wrong("tube.placed", fmt.Sprintf("%s is in the future", p.Tube.Placed), "the day on which the tube was placed, today or before")
	}
	if p.BirthMonth != "" {
		by, bm := splitMonth(p.BirthMonth)
		if dayIndexOf(by, time.Month(bm), 1) > today {
			r.wrong("birth_month", p.BirthMonth+" is in the future", "the month of birth")
		}
	}
	on, ok := parseDay(p.WeightOn)
	if !ok {
		return
	}
	if on > today {
		r.wrong("weight_on", fmt.Sprintf("%s is in the future", p.WeightOn), "the day of weighing")
		return
	}
	if p.BirthMonth == "" {
		return
	}
	old, years := int64(today-on), p.AgeDays(r.today)/365
	if limit := r.lim.WeightInfantDays; years < 1 && old > limit {
		r.warn("weight_on", "The weight is %d days old; under 1 year it should be at most %d.", old, limit)
	} else if limit := r.lim.WeightChildDays; years >= 1 && years < 5 && old > limit {
		r.warn("weight_on", "The weight is %d days old; under 5 years it should be at most %d.", old, limit)
	}
}

// AgeDays is the age at t in whole days, counted from the last day of the birth
// month (the youngest the person can be, never below 0); -1 where it is not known.
func (p *Prescription) AgeDays(t time.Time) int64 {
	if p.BirthMonth == "" {
		return -1
	}
	loc, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return -1
	}
	y, m, d := t.In(loc).Date()
	by, bm := splitMonth(p.BirthMonth)
	return max(int64(dayIndexOf(y, m, d)-dayIndexOf(by, time.Month(bm+1), 0)), 0)
}
