package regimen

import (
	"fmt"
	"testing"
	"time"
)

// An order that begins shortly before the start of the feed day loses no text:
// the day's first goes out at its time, whatever minute the household was
// enrolled at.
func TestOrderBegunJustBeforeAText(t *testing.T) {
	lim := limits(t)
	p := parse(t, minimal("America/New_York", "06:00", "feeds:\n  - {name: pump, start: \"06:00\", rate_ml_per_h: 65, hours: 24}\nflush: {every_h: 4, every_ml: 60}\n"))
	for minute := 30; minute < 60; minute++ {
		from := instant(t, fmt.Sprintf("2026-03-04T05:%02d:00-05:00", minute))
		pl, err := CompileCourse(&Course{Spans: []Span{{Prescription: p, From: at(t, from.Format(time.RFC3339))}}}, lim)
		if err != nil {
			t.Fatal(err)
		}
		got, ok := pl.Next(from, Actual{})
		if !ok || !got.At.Equal(instant(t, "2026-03-04T06:00:00-05:00")) {
			t.Errorf("enrolled at %s: first text at %s", from.Format("15:04"), got.At)
		}
	}
}
