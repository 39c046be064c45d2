package regimen

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"hearthline/internal/journal"
)

func maple(t testing.TB) *Plan {
	t.Helper()
	p, _, err := Parse("maple-17.yaml", regimenFile(t, "maple-17.yaml"), limits(t))
	if err != nil {
		t.Fatal(err)
	}
	pl, err := Compile(p, limits(t))
	if err != nil {
		t.Fatal(err)
	}
	return pl
}

func at(t testing.TB, s string) journal.Millis { return journal.At(instant(t, s)) }

const night = "2026-03-04/overnight#1" // a Wednesday

func occurrence(t testing.TB, pl *Plan, a Actual, key string) Occurrence {
	t.Helper()
	start, _ := pl.DayStart(keyDay(key))
	for _, o := range pl.FeedDayAs(start, a).Feeds {
		if o.Key == key {
			return o
		}
	}
	t.Fatalf("no %s", key)
	return Occurrence{}
}

func TestReanchoring(t *testing.T) {
	pl := maple(t)
	cases := []struct {
		name       string
		a          Actual
		start, end string
		ml, short  journal.ML
	}{
		{"as ordered", Actual{}, "2026-03-04T20:00:00-06:00", "2026-03-05T04:00:00-06:00", 640, 0},
		{"started 8:40", Actual{}.Start(night, at(t, "2026-03-04T20:40:00-06:00")), "2026-03-04T20:40:00-06:00", "2026-03-05T04:40:00-06:00", 640, 0},
		{"paused 40 minutes", Actual{}.Start(night, at(t, "2026-03-04T20:00:00-06:00")).AddPause(night, at(t, "2026-03-04T22:00:00-06:00"), 40), "2026-03-04T20:00:00-06:00", "2026-03-05T04:40:00-06:00", 640, 0},
		{"stopped at 3, 500 in", Actual{}.Stop(night, at(t, "2026-03-05T03:00:00-06:00"), ml(500)), "2026-03-04T20:00:00-06:00", "2026-03-05T03:00:00-06:00", 500, 140},
		// must_end_by 07:00: 23:30 to 07:00 is 7.5 h, 600 mL; the rest is known short, not caught up.
		{"started 23:30", Actual{}.Start(night, at(t, "2026-03-04T23:30:00-06:00")), "2026-03-04T23:30:00-06:00", "2026-03-05T07:00:00-06:00", 600, 40},
		{"skipped", Actual{}.Skip(night), "2026-03-04T20:00:00-06:00", "2026-03-04T20:00:00-06:00", 0, 640},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			o := occurrence(t, pl, c.a, night)
			if !o.Start.Equal(instant(t, c.start)) || !o.End.Equal(instant(t, c.end)) || o.ML != c.ml || o.ShortML != c.short {
				t.Errorf("got %s to %s, %d mL, short %d", o.Start, o.End, o.ML, o.ShortML)
			}
		})
	}
}

func ml(n journal.ML) *journal.ML { return &n }

// Without must_end_by a late feed runs on, until the next one; if it cannot, a person decides.
func TestLateFeedRunsOnOrAPersonDecides(t *testing.T) {
	pl := compile(t, minimal("America/Chicago", "07:00", "feeds:\n  - {name: a, start: \"08:00\", volume_ml: 200, rate_ml_per_h: 100}\n  - {name: b, start: \"12:00\", volume_ml: 100, rate_ml_per_h: 100}\n"))
	key := "2026-03-04/a#1"
	o := occurrence(t, pl, Actual{}.Start(key, at(t, "2026-03-04T09:30:00-06:00")), key)
	if o.Decide || o.ShortML != 0 || !o.End.Equal(instant(t, "2026-03-04T11:30:00-06:00")) {
		t.Errorf("an hour and a half late: %+v", o)
	}
	o = occurrence(t, pl, Actual{}.Start(key, at(t, "2026-03-04T10:30:00-06:00")), key)
	if !o.Decide || o.ML != 150 || o.ShortML != 50 || !o.End.Equal(instant(t, "2026-03-04T12:00:00-06:00")) {
		t.Errorf("two and a half hours late: %+v", o)
	}
	stuck := Actual{}.Start(key, at(t, "2026-03-04T10:30:00-06:00"))
	if !pl.MustDecide(key, stuck) || pl.MustDecide(key, Actual{}) || pl.MustDecide("2026-03-04/b#1", stuck) ||
		pl.MustDecide("no such key", stuck) || pl.MustDecide(key, stuck.Stop(key, at(t, "2026-03-04T11:00:00-06:00"), nil)) {
		t.Error("a person decides on the feed that cannot end in time, until it is over, and on no other")
	}
}

// The prompts move with the feed, what was answered is not asked again, and
// what a change made impossible does not stand.
func TestPromptsFollowReports(t *testing.T) {
	pl, w := maple(t), loadWords(t, "en")
	start := instant(t, "2026-03-04T19:00:00-06:00")
	first, _ := pl.Next(start, Actual{})
	if first.Asks.Kind != AskFeedStart || first.Asks.Occurrence != night || first.Asks.ExpectedML != 640 || first.Asks.ContainerML != 237 {
		t.Fatalf("the start asks %+v", first.Asks)
	}
	a := Actual{}.Start(night, at(t, "2026-03-04T23:30:00-06:00"))
	end, _ := pl.Next(first.At, a)
	if !end.At.Equal(instant(t, "2026-03-05T07:00:00-06:00")) || end.Asks.Kind != AskFeedEnd || end.Asks.ExpectedML != 600 || end.Day != "2026-03-04" {
		t.Errorf("after a late start the end is asked at %s: %+v", end.At, end.Asks)
	}
	old, _ := pl.Next(first.At, Actual{})
	if !old.At.Equal(instant(t, "2026-03-05T06:00:00-06:00")) || !pl.Stands(old, Actual{}) || pl.Stands(old, a) {
		t.Errorf("the question at %s should stand only without the report", old.At)
	}
	text, _, ok := pl.AfterReport(night, instant(t, "2026-03-04T23:35:00-06:00"), a, w)
	if want := "Thank you. The overnight feed ends at 7:00 AM with 600 mL. Keep the rate. The rest is not made up."; !ok || text != want {
		t.Errorf("said %q, want %q", text, want)
	}
	late := Actual{}.Start(night, at(t, "2026-03-04T20:00:00-06:00"))
	text, ask, ok := pl.AfterReport(night, instant(t, "2026-03-05T05:00:00-06:00"), late, w)
	if !ok || ask.Kind != AskFeedEnd || !strings.Contains(text, "Is it done, or still running?") {
		t.Errorf("a late report: %q, %+v", text, ask)
	}
	done := a.Stop(night, at(t, "2026-03-05T06:30:00-06:00"), nil)
	next, _ := pl.Next(first.At, done)
	if next.Asks.Occurrence == night {
		t.Errorf("a feed that has ended is asked for: %+v", next)
	}
}

// An open pause has no end to ask about; after an hour one text asks.
func TestOpenPause(t *testing.T) {
	pl := maple(t)
	a := Actual{}.Start(night, at(t, "2026-03-04T20:00:00-06:00")).Pause(night, at(t, "2026-03-04T21:00:00-06:00"))
	pr, _ := pl.Next(instant(t, "2026-03-04T21:00:00-06:00"), a)
	if pr.Asks.Kind != AskCheckin || !pr.At.Equal(instant(t, "2026-03-04T22:00:00-06:00")) {
		t.Errorf("in a pause: %s %+v", pr.At, pr.Asks)
	}
	a = a.Resume(night, at(t, "2026-03-04T21:40:00-06:00"))
	if o := occurrence(t, pl, a, night); !o.End.Equal(instant(t, "2026-03-05T04:40:00-06:00")) {
		t.Errorf("resumed after 40 min it ends at %s", o.End)
	}
}

// Formula in the bag ages while the pump stands still: no fill outlasts its limit.
func TestPauseBringsAFillForward(t *testing.T) {
	pl := maple(t)
	a := Actual{}.Start(night, at(t, "2026-03-04T20:00:00-06:00")).AddPause(night, at(t, "2026-03-04T22:00:00-06:00"), 120)
	o := occurrence(t, pl, a, night)
	var sum journal.ML
	for i, f := range o.Fills {
		end := o.End
		if i+1 < len(o.Fills) {
			end = o.Fills[i+1].At
		}
		if end.Sub(f.At) > 8*time.Hour {
			t.Errorf("fill %d hangs %s", i, end.Sub(f.At))
		}
		sum += f.ML
	}
	if len(o.Fills) != 2 || sum != 640 || !o.Fills[1].At.Equal(instant(t, "2026-03-05T04:00:00-06:00")) || o.Fills[1].ML != 160 {
		t.Errorf("fills %+v", o.Fills)
	}
}

// The bag is changed with the last start or fill before its 24 h are up, by
// when it was really hung.
func TestBagByWhenItWasHung(t *testing.T) {
	pl := maple(t)
	hung := func(s string) Actual { return Actual{}.HungBag(at(t, s)) }
	changes := func(a Actual, day journal.Day) []string {
		start, _ := pl.DayStart(day)
		var out []string
		for _, c := range pl.FeedDayAs(start, a).BagChanges {
			out = append(out, c.Format("15:04"))
		}
		return out
	}
	for _, c := range []struct {
		name string
		a    Actual
		want []string
	}{
		{"not known: the first start of the day", Actual{}, []string{"12:00"}},
		{"hung yesterday at 12:30: noon today is its last start in time", hung("2026-03-03T12:30:00-06:00"), []string{"12:00"}},
		{"hung yesterday at 20:10: tonight's start is its last", hung("2026-03-03T20:10:00-06:00"), []string{"20:00"}},
		{"hung two days ago: the first start that comes", hung("2026-03-03T08:00:00-06:00"), []string{"12:00"}},
	} {
		if got := changes(c.a, "2026-03-04"); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: changes at %v, want %v", c.name, got, c.want)
		}
	}
}

func TestAnswersFromTheRegimen(t *testing.T) {
	pl, w := maple(t), loadWords(t, "en")
	for _, c := range []struct {
		q    Question
		at   string
		want string
	}{
		{HowMuchLeft, "2026-03-04T22:00:00-06:00", "About 480 mL of the overnight feed is left."},
		{WhenEnds, "2026-03-05T01:00:00-06:00", "The overnight feed ends at 4:00 AM."},
		{WhenEnds, "2026-03-05T05:00:00-06:00", "No feed is due to run now."},
		{WhatNext, "2026-03-05T05:00:00-06:00", "Next is the noon feed at 12:00 PM."},
		{HowMuchWater, "2026-03-04T22:00:00-06:00", // Flushes: 3 of the night feed, 2 of noon, 2 around one medicine and 4 around three; 880 mL of 0.85 water.
			"Water planned for today: 135 mL by tube, in 11 flushes. The formula adds 748 mL. That is 883 mL in all."},
	} {
		if got := pl.Answer(c.q, instant(t, c.at), Actual{}, w); got != c.want {
			t.Errorf("%s at %s: %q, want %q", c.q, c.at, got, c.want)
		}
	}
}

func TestActualRoundTripsAndStaysBounded(t *testing.T) {
	a := Actual{}.HungBag(5).Start(night, 7).AddPause(night, 8, 9).Answer(night, AskFeedStart)
	a.Level, a.LiftedUntil = Evening, 11
	for i := range 200 {
		key := (dayIndexOf(2026, 1, 1) + dayIndex(i)).day()
		a = a.Stop(string(key)+"/x#1", 3, ml(4)).Answer(string(key)+"/x#1", AskFeedEnd)
	}
	if len(a.Feeds) > maxActual || len(a.Answered) > 2*maxActual {
		t.Errorf("%d feeds, %d answers are kept", len(a.Feeds), len(a.Answered))
	}
	b, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	var back Actual
	if err := json.Unmarshal(b, &back); err != nil || !reflect.DeepEqual(a, back) {
		t.Errorf("%v: %+v came back as %+v", err, a, back)
	}
	if p := a.Prune("2026-07-18"); len(p.Feeds) != 2 {
		t.Errorf("pruned to %d", len(p.Feeds))
	}
}
