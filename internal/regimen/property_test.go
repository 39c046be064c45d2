package regimen

import (
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hearthline/internal/journal"
)

// drawPlan draws a regimen and compiles it.
func drawPlan(t *rapid.T, lim *Limits) *Plan {
	src := genRegimen(t)
	p, _, err := Parse("drawn.yaml", []byte(src), lim)
	if err != nil {
		t.Fatalf("%v\n%s", err, src)
	}
	pl, err := Compile(p, lim)
	if err != nil {
		t.Fatalf("%v\n%s", err, src)
	}
	return pl
}

func drawDay(t *rapid.T) journal.Day {
	return (dayIndexOf(2024, 1, 1) + dayIndex(rapid.IntRange(0, 1460).Draw(t, "day"))).day()
}

// Fills add up to the feed, in order, and none hangs over its limit; flushes
// add up to the day's flush water; every total is what its parts come to.
func TestDayAddsUp(t *testing.T) {
	lim := limits(t)
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		day := drawDay(t)
		start, _ := pl.DayStart(day)
		d := pl.FeedDay(start)
		if d.Day != day {
			t.Fatalf("the feed day that holds the start of %s is %s", day, d.Day)
		}
		hang, _ := lim.HangLimit(pl.orders[0].p.Formula, 500)
		var volume, flush journal.ML
		fills := 0
		for i, f := range d.Feeds {
			volume += f.ML
			var sum journal.ML
			for j, fl := range f.Fills {
				end := f.End
				if j+1 < len(f.Fills) {
					end = f.Fills[j+1].At
				}
				if fl.ML < 1 || end.Sub(fl.At) > hang || !fl.At.Before(end) {
					t.Fatalf("%s: fill %d of %d mL hangs %s, limit %s", f.Key, j, fl.ML, end.Sub(fl.At), hang)
				}
				sum += fl.ML
				fills++
			}
			if sum != f.ML {
				t.Fatalf("%s: fills come to %d of %d mL", f.Key, sum, f.ML)
			}
			if i > 0 && f.Start.Before(d.Feeds[i-1].End) {
				t.Fatalf("%s starts at %s, while %s runs until %s", f.Key, f.Start, d.Feeds[i-1].Key, d.Feeds[i-1].End)
			}
		}
		for _, a := range d.Flushes {
			flush += a.ML
		}
		if volume != d.Totals.VolumeML || flush != d.Totals.FlushWaterML || fills != d.Totals.Fills {
			t.Fatalf("totals %+v, parts: volume %d, flush %d, fills %d", d.Totals, volume, flush, fills)
		}
	})
}

// A feed keeps its length on every night of the year, and its volume.
func TestDurationIsElapsedTime(t *testing.T) {
	lim := limits(t)
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		start, _ := pl.DayStart(drawDay(t))
		for _, f := range pl.FeedDay(start).Feeds {
			for i := range pl.orders[0].slots {
				s := &pl.orders[0].slots[i]
				if s.feed.Name != f.Feed || s.round || f.ShortML > 0 {
					continue
				}
				if f.End.Sub(f.Start) != time.Duration(s.dur)*time.Second || f.ML != journal.ML(s.ml) {
					t.Fatalf("%s runs %s for %d mL, ordered %d s for %d mL", f.Key, f.End.Sub(f.Start), f.ML, s.dur, s.ml)
				}
			}
		}
	})
}

// Next, without expanding anything, is the next of the plan written out: the
// prompts of every day, sorted; no two at one instant; strictly after.
func TestNextEqualsThePlanWrittenOut(t *testing.T) {
	lim := limits(t)
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		day := drawDay(t)
		all := pl.Prompts(day, 20, Actual{})
		for i := 1; i < len(all); i++ {
			if !all[i].At.After(all[i-1].At) {
				t.Fatalf("prompts at %s and %s", all[i-1].At, all[i].At)
			}
		}
		// Day by day is the same as all days at once.
		var byDay []Prompt
		for k := range 20 {
			byDay = append(byDay, pl.Prompts(DayAfter(day, k), 1, Actual{})...)
		}
		if !sameSet(all, byDay) {
			t.Fatalf("20 days at once: %d prompts, day by day: %d", len(all), len(byDay))
		}
		// From any instant, Next is the first of the list that is later.
		if len(all) == 0 {
			return
		}
		lo, _ := pl.DayStart(DayAfter(day, 2))
		for range 20 {
			x := lo.Add(time.Duration(rapid.IntRange(0, 15*86400).Draw(t, "after")) * time.Second)
			got, ok := pl.Next(x, Actual{})
			var want *Prompt
			for i := range all {
				if all[i].At.After(x) && (want == nil || all[i].At.Before(want.At)) {
					want = &all[i]
				}
			}
			if want == nil {
				continue
			}
			if !ok || !reflect.DeepEqual(got, *want) {
				t.Fatalf("Next(%s) = %+v, written out %+v", x, got, *want)
			}
		}
	})
}

func sameSet(a, b []Prompt) bool {
	if len(a) != len(b) {
		return false
	}
	for _, p := range a {
		found := false
		for _, q := range b {
			found = found || reflect.DeepEqual(p, q)
		}
		if !found {
			return false
		}
	}
	return true
}

// Every act of a day is said in exactly one prompt, whatever the level and ceiling.
func TestEveryActIsSaidOnce(t *testing.T) {
	lim := limits(t)
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		day := drawDay(t)
		said := map[Act]int{}
		for _, pr := range pl.Prompts(DayAfter(day, -2), 6, Actual{}) {
			for _, a := range pr.Acts {
				a.At = a.At.UTC()
				said[a]++
			}
		}
		start, _ := pl.DayStart(day)
		var zs zoneSpan
		o := pl.orders[0]
		f := o.frame(o.dayAt(start.Unix()), &zs)
		var s scratch
		var u unit
		u.f = f
		u.occs = f.occurrences(nil, s.occs[0][:0])
		u.acts = f.acts(u.occs, nil, EachStep, nil)
		for _, a := range u.appendActs(nil, group{lo: 0, hi: int16(len(u.acts))}) {
			a.At = a.At.UTC()
			if said[a] != 1 {
				t.Fatalf("%+v is said %d times", a, said[a])
			}
		}
	})
}

// A day never has more prompts than its ceiling.
func TestCeilingHolds(t *testing.T) {
	lim := limits(t)
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		day := drawDay(t)
		n := len(pl.Prompts(day, 1, Actual{}))
		if want := pl.orders[0].perDay; n > want {
			t.Fatalf("%d prompts on %s, at most %d", n, day, want)
		}
	})
}

// A prompt in quiet hours is one that the prescription itself put there.
func TestQuietHours(t *testing.T) {
	lim := limits(t)
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		day := drawDay(t)
		for _, pr := range pl.Prompts(day, 3, Actual{}) {
			if pl.Night(pr) && !pr.Wake {
				t.Fatalf("a prompt at %s, in quiet hours, without wake: %+v", pr.At, pr.Acts)
			}
		}
	})
}

// Re-anchoring never loses a feed, moves nothing of another day, and never
// delivers more than was ordered or at another rate.
func TestReanchoringLosesNothing(t *testing.T) {
	lim := limits(t)
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		day := drawDay(t)
		start, _ := pl.DayStart(day)
		was := pl.FeedDay(start)
		if len(was.Feeds) == 0 {
			return
		}
		f := was.Feeds[rapid.IntRange(0, len(was.Feeds)-1).Draw(t, "feed")]
		late := time.Duration(rapid.IntRange(-20, 180).Draw(t, "late")) * time.Minute
		a := Actual{}.Start(f.Key, journal.At(f.Start.Add(late)))
		pause := journal.Minutes(rapid.IntRange(0, 90).Draw(t, "pause"))
		if pause > 0 {
			a = a.AddPause(f.Key, journal.At(f.Start.Add(late+time.Minute)), pause)
		}
		now := pl.FeedDayAs(start, a)
		if len(now.Feeds) != len(was.Feeds) {
			t.Fatalf("%d feeds, %d before the report", len(now.Feeds), len(was.Feeds))
		}
		for i, g := range now.Feeds {
			if g.Key != f.Key {
				if !reflect.DeepEqual(g, was.Feeds[i]) {
					t.Fatalf("%s moved though only %s was reported", g.Key, f.Key)
				}
				continue
			}
			if g.ML+g.ShortML != f.ML+f.ShortML || g.ML < 0 {
				t.Fatalf("%s: %d mL and %d short of %d", g.Key, g.ML, g.ShortML, f.ML)
			}
			var sum journal.ML
			for _, fl := range g.Fills {
				sum += fl.ML
			}
			if sum != g.ML {
				t.Fatalf("%s: fills come to %d of %d mL", g.Key, sum, g.ML)
			}
			run := g.End.Sub(g.Start) - pause.Duration()
			if g.ML > 0 && g.ShortML == 0 && g.Feed != "all day" && run != f.End.Sub(f.Start) {
				t.Fatalf("%s ran %s for %d mL, ordered %s", g.Key, run, g.ML, f.End.Sub(f.Start))
			}
		}
		for k := 1; k < 3; k++ {
			at, _ := pl.DayStart(DayAfter(day, k))
			if !reflect.DeepEqual(pl.FeedDayAs(at, a), pl.FeedDay(at)) {
				t.Fatalf("a report of %s moved %s", day, DayAfter(day, k))
			}
		}
		// What was answered is not asked again.
		a = a.Stop(f.Key, journal.At(now.Feeds[0].End), nil)
		for x, i := start.Add(-2*time.Hour), 0; i < 40; i++ {
			pr, ok := pl.Next(x, a)
			if !ok || pr.Day > day {
				break
			}
			if pr.Asks.Occurrence == f.Key && pr.Asks.Kind != AskCheckin {
				t.Fatalf("%s was stopped and is asked for: %+v", f.Key, pr.Asks)
			}
			x = pr.At
		}
	})
}

// Every text fits two segments in every language.
func TestTextsFit(t *testing.T) {
	lim := limits(t)
	en, es := loadWords(t, "en"), loadWords(t, "es")
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		for _, pr := range pl.Prompts(drawDay(t), 2, Actual{}) {
			for lang, w := range map[string]words{"en": en, "es": es} {
				text := pl.Text(pr, w)
				if n := Segments(text); text == "" || n > 2 {
					t.Fatalf("%s, %d segments: %q", lang, n, text)
				}
			}
		}
	})
}
