package regimen

import (
	"fmt"
	"sort"
	"strings"
	"time"
)

// warnHang says where a feed must be poured in several fills, and where one of
// them falls into the night without anyone being told to wake.
func (o *order) warnHang(r *reader) {
	b := len(o.limits) - 1
	if !r.today.IsZero() {
		d, _ := localDay(o.loc, r.today.Unix())
		b = o.band(d)
	}
	for i := range o.slots {
		s := &o.slots[i]
		if !s.pump || s.feed.By != ByPump && len(s.fills[b]) < 2 {
			continue
		}
		for _, f := range s.fills[b][1:] {
			at := clockAt(o.dayStart + s.off + int(f.off/60))
			if o.quietClock(at) && s.wake != wakeAll {
				r.warn(o.path(s), "Feed %q needs a new fill at %s, in quiet hours (hang limit %s h): it needs wake: true or a shorter feed.",
					s.feed.Name, at, Milli(o.limits[b]*1000/3600))
				break
			}
		}
	}
}

// warnCeiling says where a day has more feeds than texts: then the ceiling folds
// one feed's start into the text of another.
func (o *order) warnCeiling(r *reader) {
	if o.level == Evening {
		return // one text a day is what was asked for
	}
	most := 0
	for d := range 7 {
		n := 0
		for i := range o.slots {
			s := &o.slots[i]
			if s.days.Has(time.Weekday((d + (o.dayStart+s.off)/1440) % 7)) {
				n++
			}
		}
		most = max(most, n)
	}
	if most > o.perDay {
		r.warn("prompts.per_day", "%d feeds a day, ceiling %d texts: some feeds are announced ahead, in the text of the feed before. Set prompts.per_day to %d or more to have a text at each start.", most, o.perDay, most)
	}
}

func (o *order) path(s *slot) string {
	for i := range o.p.Feeds {
		if &o.p.Feeds[i] == s.feed {
			return fmt.Sprintf("feeds[%d]", i)
		}
	}
	return "feeds"
}

func (o *order) quietClock(c Clock) bool {
	m := int(c)
	if !o.quiet {
		return false
	}
	if o.quietFrom < o.quietUntil {
		return m >= o.quietFrom && m < o.quietUntil
	}
	return m >= o.quietFrom || m < o.quietUntil
}

// warnNights says how often the regimen wants hands in quiet hours.
func (o *order) warnNights(r *reader) {
	monday := dayIndexOf(2026, time.February, 2) // a week without a clock change anywhere near
	nights, times := 0, map[string]int{}
	var zs zoneSpan
	for k := range 7 {
		f := o.frame(monday+dayIndex(k), &zs)
		var s scratch
		occs := f.occurrences(nil, s.occs[0][:0])
		last := Clock(-1)
		any := false
		for _, a := range f.acts(occs, nil, EachStep, s.acts[0][:0]) {
			_, m := localDay(o.loc, a.at)
			c := Clock(m)
			if !f.isQuiet(a.at) || c == last {
				continue
			}
			last, any = c, true
			times[c.String()]++
		}
		if any {
			nights++
		}
	}
	if nights == 0 {
		return
	}
	var list []string
	for t := range times {
		list = append(list, t)
	}
	sort.Strings(list)
	r.warn("feeds", "This regimen wants someone awake in quiet hours (%s to %s) on %d nights of 7, at %s.",
		clockAt(o.quietFrom), clockAt(o.quietUntil), nights, strings.Join(list, ", "))
}

// checkDays holds each weekday against the targets and the estimate.
func (r *reader) checkDays(o *order) {
	p := &r.p
	pl := &Plan{orders: []*order{o}}
	est, haveEst := HollidaySegar(p.WeightKg)
	if !r.today.IsZero() {
		if age := p.AgeDays(r.today); age >= 0 && age < r.lim.EstimateFromDays {
			haveEst = false
		}
	}
	type line struct {
		field, text string
	}
	days := map[line][]string{}
	var order []line
	note := func(day, field, format string, args ...any) {
		l := line{field, fmt.Sprintf(format, args...)}
		if days[l] == nil {
			order = append(order, l)
		}
		days[l] = append(days[l], day)
	}
	for k := range 7 {
		// The week of 2 February 2026, Monday first: no zone changes its clocks then.
		at := Instant(o.loc, 2026, time.February, 2+k, o.dayStart)
		t := pl.FeedDay(at).Totals
		day := dayNames[(k+1)%7]
		kcal, water := Milli(t.EnergyMilliKcal), Milli(t.WaterUL())
		if g := p.Targets.EnergyKcal; g > 0 && kcal != g {
			note(day, "targets.energy_kcal", "The feeds give %s kcal against a target of %s kcal.", kcal, g)
		}
		if g := p.Targets.ProteinG; g > 0 && t.ProteinMicroG != int64(g)*1000 {
			note(day, "targets.protein_g", "The feeds give %s g of protein against a target of %s g.", Milli(t.ProteinMicroG/1000), g)
		}
		if g := p.Targets.WaterML; g > 0 && water != Milli(g)*1000 {
			note(day, "targets.water_ml", "Formula and flushes give %s mL of water against a target of %d mL.", water, g)
		}
		if !haveEst {
			continue
		}
		for _, x := range []struct {
			what, unit string
			got        Milli
		}{{"energy", "kcal", kcal}, {"water", "mL", water}} {
			// got/est against a fraction in thousandths, without dividing.
			if int64(x.got)*1000 > int64(est)*int64(r.lim.EstimateHigh) || int64(x.got)*1000 < int64(est)*int64(r.lim.EstimateLow) {
				note(day, "weight_kg", "The day's %s is %s %s, %d %% of the estimate %s %s (Holliday-Segar, %s kg); expected are %d to %d %%.",
					x.what, x.got, x.unit, halfUp(int64(x.got)*100, int64(est)), est, x.unit, p.WeightKg, r.lim.EstimateLow/10, r.lim.EstimateHigh/10)
			}
		}
	}
	for _, l := range order {
		r.warn(l.field, "%s: %s", daysText(days[l]), l.text)
	}
}

func daysText(days []string) string {
	if len(days) == 7 {
		return "every day"
	}
	return strings.Join(days, ", ")
}
