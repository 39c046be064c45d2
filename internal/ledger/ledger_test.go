package ledger

import (
	"testing"

	"pgregory.net/rapid"

	"hearthline/internal/journal"
)

func opened(day journal.Day, feeds ...journal.FeedDue) journal.Entry {
	return journal.Entry{Kind: journal.KindDayOpened, DayOpened: &journal.DayOpened{Day: day, Feeds: feeds, Flushes: 2, FlushML: 30, BagChanges: 1,
		Formula: journal.Composition{EnergyKcalPerL: 1200, ProteinMgPerL: 54_000, WaterMLPerL: 810}}}
}

func fed(day journal.Day, occurrence string, ml journal.ML) journal.Entry {
	return journal.Entry{Kind: journal.KindFed, Fed: &journal.Fed{Day: day, Occurrence: occurrence, GivenML: ml}}
}

func notAsked(day journal.Day, occurrence, why string) journal.Entry {
	return journal.Entry{Kind: journal.KindNotAsked, NotAsked: &journal.NotAsked{Day: day, Occurrence: occurrence, Asks: "feed_end", Why: why}}
}

func TestVolumeSplits(t *testing.T) {
	const day = "2026-05-02"
	due := journal.FeedDue{Occurrence: "a", ML: 640}
	for _, c := range []struct {
		name string
		with []journal.Entry
		want Split
	}{
		{"nothing said is not reported, not zero", nil, Split{Prescribed: 640, NotReported: 640}},
		{"all of it", []journal.Entry{fed(day, "a", 640)}, Split{Prescribed: 640, Given: 640}},
		{"part of it", []journal.Entry{fed(day, "a", 150)}, Split{Prescribed: 640, Given: 150, Short: 490}},
		{"none, said so", []journal.Entry{fed(day, "a", 0)}, Split{Prescribed: 640, Short: 640}},
		{"more than all", []journal.Entry{fed(day, "a", 700)}, Split{Prescribed: 640, Given: 640, Over: 60}},
		{"a correction replaces", []journal.Entry{fed(day, "a", 420), fed(day, "a", 240)}, Split{Prescribed: 640, Given: 240, Short: 400}},
		{"not asked", []journal.Entry{notAsked(day, "a", "late")}, Split{Prescribed: 640, NotAsked: 640}},
		{"held by a nurse", []journal.Entry{notAsked(day, "a", "held")}, Split{Prescribed: 640, Held: 640}},
		{"not asked, but reported", []journal.Entry{notAsked(day, "a", "late"), fed(day, "a", 600)}, Split{Prescribed: 640, Given: 600, Short: 40}},
		{"reported, then not asked", []journal.Entry{fed(day, "a", 600), notAsked(day, "a", "late")}, Split{Prescribed: 640, Given: 600, Short: 40}},
		{"a feed of another day", []journal.Entry{fed("2026-05-03", "a", 600)}, Split{Prescribed: 640, NotReported: 640}},
		{"a feed that is not prescribed", []journal.Entry{fed(day, "b", 600)}, Split{Prescribed: 640, NotReported: 640}},
	} {
		days := Apply(nil, opened(day, due))
		for _, e := range c.with {
			days = Apply(days, e)
		}
		if got := days[0].Volume(); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

// A published worked example: 80 mL/h for 24 h of a formula of 1.2 kcal/mL,
// 54 g protein and 810 mL water a litre is 1920 mL, 2304 kcal, 103.68 g and
// 1555.2 mL of water (a dietetics study set; its card prints 2308 kcal, a slip:
// 1.92 x 1200 = 2304).
func TestEnergyProteinWaterOfAPublishedExample(t *testing.T) {
	days := Apply(nil, opened("2026-05-02", journal.FeedDue{Occurrence: "a", ML: 1920}))
	days = Apply(days, fed("2026-05-02", "a", 1920))
	d := days[0]
	if got := d.MilliKcal().Given; got != 2_304_000 {
		t.Errorf("energy %d thousandths of a kcal, want 2304000", got)
	}
	if got := d.ProteinMicrograms().Given; got != 103_680_000 {
		t.Errorf("protein %d micrograms, want 103680000", got)
	}
	if got := d.FormulaWaterMicrolitres().Given; got != 1_555_200 {
		t.Errorf("water %d microlitres, want 1555200", got)
	}
}

func TestADayOpenedAgainKeepsWhatWasReported(t *testing.T) {
	const day = "2026-05-02"
	days := Apply(nil, opened(day, journal.FeedDue{Occurrence: "a", ML: 200}, journal.FeedDue{Occurrence: "b", ML: 200}))
	days = Apply(days, fed(day, "a", 180))
	days = Apply(days, opened(day, journal.FeedDue{Occurrence: "b", ML: 300}))
	if got, want := days[0].Volume(), (Split{Prescribed: 500, Given: 180, Short: 20, NotReported: 300}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

func TestTallies(t *testing.T) {
	const day = "2026-05-02"
	days := Apply(nil, opened(day))
	done := func(what string, is bool, ml journal.ML) {
		days = Apply(days, journal.Entry{Kind: journal.KindDone, Done: &journal.Done{Day: day, What: what, Done: is, ML: ml}})
	}
	done("flush", true, 15)
	done("bag_change", false, 0)
	done("feed_start", true, 0)
	d := days[0]
	if d.Flushes != (Tally{Due: 2, Done: 1}) || d.FlushGiven != 15 || d.BagChanges != (Tally{Due: 1, NotDone: 1}) || d.Flushes.NotReported() != 1 {
		t.Errorf("%+v", d)
	}
}

// TestPartsAlwaysAddUp: whatever is journaled, in whatever order, the parts of
// each day's volume add up to what was prescribed, none is negative, Apply
// leaves its argument alone, and no more days are kept than KeepDays.
func TestPartsAlwaysAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var days []Day
		name := rapid.SampledFrom([]journal.Day{"2026-05-01", "2026-05-02", "2026-05-03"})
		occurrence := rapid.SampledFrom([]string{"a", "b", "c"})
		ml := rapid.Int64Range(0, 3000)
		for range rapid.IntRange(1, 60).Draw(t, "entries") {
			day := name.Draw(t, "day")
			var e journal.Entry
			switch rapid.IntRange(0, 3).Draw(t, "kind") {
			case 0:
				e = opened(day, journal.FeedDue{Occurrence: "a", ML: journal.ML(ml.Draw(t, "ml"))}, journal.FeedDue{Occurrence: "b", ML: journal.ML(ml.Draw(t, "ml"))})
			case 1:
				e = fed(day, occurrence.Draw(t, "feed"), journal.ML(ml.Draw(t, "ml")))
			case 2:
				e = notAsked(day, occurrence.Draw(t, "feed"), rapid.SampledFrom([]string{"late", "held"}).Draw(t, "why"))
			case 3:
				e = journal.Entry{Kind: journal.KindDayClosed, DayClosed: &journal.DayClosed{Day: day}}
			}
			var before []Split
			for _, d := range days {
				before = append(before, d.Volume())
			}
			next := Apply(days, e)
			for i, d := range days {
				if d.Volume() != before[i] {
					t.Fatal("Apply changed the days that it was given")
				}
			}
			days = next
		}
		for _, d := range days {
			v := d.Volume()
			if v.Given+v.Short+v.NotReported+v.NotAsked+v.Held != v.Prescribed {
				t.Fatalf("the parts of %+v do not add up", v)
			}
			if min(v.Given, v.Short, v.NotReported, v.NotAsked, v.Held, v.Over) < 0 {
				t.Fatalf("a part of %+v is negative", v)
			}
		}
	})
	var days []Day
	for i := range 40 {
		days = Apply(days, opened(journal.DayOf(journal.Millis(int64(i)*86_400_000+1).Time())))
	}
	if len(days) != KeepDays {
		t.Errorf("%d days are kept, want %d", len(days), KeepDays)
	}
}
