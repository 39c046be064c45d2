package regimen

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"hearthline/internal/journal"
)

func shipped(t testing.TB, name string) *Plan {
	t.Helper()
	p, _, err := Parse(name, regimenFile(t, name), limits(t))
	if err != nil {
		t.Fatal(err)
	}
	pl, err := Compile(p, limits(t))
	if err != nil {
		t.Fatal(err)
	}
	return pl
}

// What three more households are told over the days around a clock change.
func TestGoldenHouseholds(t *testing.T) {
	for _, c := range []struct {
		name string
		day  journal.Day
	}{{"alder-3", "2026-03-28"}, {"birch-8", "2026-04-03"}, {"cedar-2", "2026-03-07"}} {
		pl := shipped(t, c.name+".yaml")
		var b bytes.Buffer
		for _, pr := range pl.Prompts(c.day, 2, Actual{}) {
			night := ""
			if pl.Night(pr) {
				night = " (night)"
			}
			b.WriteString(pr.At.Format("Mon 15:04 MST") + night + " asks " + string(pr.Asks.Kind) + " " + pr.Asks.Occurrence + "\n")
			for _, lang := range []string{"en", "es"} {
				b.WriteString("  " + lang + " " + string(rune('0'+Segments(pl.Text(pr, loadWords(t, lang))))) + ": " + pl.Text(pr, loadWords(t, lang)) + "\n")
			}
		}
		golden(t, c.name+".texts.txt", b.Bytes())
	}
}

// A pump that never stops gives 23 or 25 hours of feed on the days of a clock
// change, at its rate; every other day 24.
func TestRoundTheClockOverClockChanges(t *testing.T) {
	pl := shipped(t, "alder-3.yaml")
	for day, want := range map[journal.Day]journal.ML{"2026-03-27": 65 * 24, "2026-03-28": 65 * 23, "2026-10-24": 65 * 25} {
		start, _ := pl.DayStart(day)
		d := pl.FeedDay(start)
		if d.Totals.VolumeML != want || !d.Feeds[0].End.Equal(d.End) {
			t.Errorf("%s: %d mL to %s, want %d", day, d.Totals.VolumeML, d.Feeds[0].End, want)
		}
	}
}

// The three levels: each step asks at least as often as each feed, the evening
// once; a change lifts to each step for a while.
func TestLevels(t *testing.T) {
	pl := maple(t)
	count := func(a Actual) int { return len(pl.Prompts("2026-03-04", 1, a)) }
	step, feed, evening := count(Actual{Level: EachStep}), count(Actual{Level: EachFeed}), count(Actual{Level: Evening})
	lifted := count(Actual{Level: Evening, LiftedUntil: at(t, "2026-03-07T00:00:00-06:00")})
	if evening != 1 || feed < 2 || step < feed || lifted != step {
		t.Errorf("each step %d, each feed %d, evening %d, lifted %d", step, feed, evening, lifted)
	}
	pr := pl.Prompts("2026-03-04", 1, Actual{Level: Evening})[0]
	if pr.Asks.Kind != AskCheckin || pr.Asks.ExpectedML != 880 {
		t.Errorf("%+v", pr.Asks)
	}
}

// A start on a time that the clock skips is prompted at the first instant after
// the gap; on one that occurs twice, once.
func TestStartsInGapAndFold(t *testing.T) {
	pl := compile(t, minimal("America/New_York", "07:00", "feeds:\n  - {name: small, start: \"02:30\", volume_ml: 60, rate_ml_per_h: 60}\n"))
	for day, want := range map[journal.Day]string{"2026-03-07": "2026-03-08T07:00:00Z", "2026-10-31": "2026-11-01T07:30:00Z"} {
		start, _ := pl.DayStart(day)
		f := pl.FeedDay(start).Feeds
		if len(f) != 1 || f[0].Start.UTC().Format(time.RFC3339) != want || f[0].End.Sub(f[0].Start) != time.Hour {
			t.Errorf("%s: %+v", day, f)
		}
	}
	pl = compile(t, minimal("America/New_York", "07:00", "feeds:\n  - {name: small, start: \"01:30\", volume_ml: 60, rate_ml_per_h: 60}\n"))
	starts := 0
	for _, pr := range pl.Prompts("2026-10-31", 1, Actual{}) {
		for _, a := range pr.Acts {
			if a.Kind == ActFeedStart {
				starts++
			}
		}
	}
	if starts != 1 {
		t.Errorf("%d starts in the night that has 01:30 twice", starts)
	}
}

// No feed's text names a medicine, and the start text of a household with
// another line says to trace the tube.
func TestStartTextTracesTheTube(t *testing.T) {
	pl, w := shipped(t, "alder-3.yaml"), loadWords(t, "en")
	pr, _ := pl.Next(instant(t, "2026-03-04T07:59:00Z"), Actual{})
	text := pl.Text(pr, w)
	for _, want := range []string{"Trace the tube from the pump to the belly.", "mark at 55 cm, pH 5.5 or less"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q does not say %q", text, want)
		}
	}
}
