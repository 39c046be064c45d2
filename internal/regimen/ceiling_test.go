package regimen

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// startsOnTime counts the feeds of a day whose text goes out at their start.
func startsOnTime(pl *Plan) (on, all int) {
	for _, pr := range pl.Prompts("2026-03-04", 1, Actual{}) {
		for _, a := range pr.Acts {
			if a.Kind == ActFeedStart {
				all++
				if d := a.At.Sub(pr.At); d >= 0 && d < 15*time.Minute {
					on++
				}
			}
		}
	}
	return on, all
}

// While the ceiling leaves a text for each feed, each start has its text: what
// is folded is the rest of the day, refills too.
func TestCeilingKeepsStarts(t *testing.T) {
	const feeds = `feeds:
  - {name: a, start: "07:00", volume_ml: 300, rate_ml_per_h: 75}
  - {name: b, start: "12:00", volume_ml: 300, rate_ml_per_h: 75}
  - {name: c, start: "17:00", volume_ml: 300, rate_ml_per_h: 75, wake: true}
flush: {every_h: 1, every_ml: 10, medication: [{at: "09:30", medicines: 1}], medication_ml: 10}
`
	src := strings.Replace(minimal("America/Chicago", "07:00", feeds), "prepared: ready_to_feed", "prepared: blenderized", 1)
	for _, level := range []string{"each_feed", "each_step"} {
		for ceiling := 3; ceiling < 12; ceiling++ {
			pl := compile(t, src+fmt.Sprintf("prompts: {level: %s, per_day: %d}\n", level, ceiling))
			if on, all := startsOnTime(pl); all != 3 || on != 3 {
				t.Errorf("%s, ceiling %d: %d of %d starts have a text at their time", level, ceiling, on, all)
			}
		}
	}
}

// Of feeds that must share a text, neighbours do; and the file says so.
func TestMoreFeedsThanTexts(t *testing.T) {
	const feeds = `feeds:
  - {name: a, starts: ["08:00", "12:00", "13:00", "18:00"], volume_ml: 100, hours: 0.5, by: syringe}
`
	src := minimal("America/Chicago", "07:00", feeds) + "prompts: {per_day: 3}\n"
	pl := compile(t, src)
	for _, pr := range pl.Prompts("2026-03-04", 1, Actual{}) {
		for _, a := range pr.Acts {
			if a.Kind == ActFeedStart && a.At.Sub(pr.At) > time.Hour {
				t.Errorf("the feed of %s is said at %s, though nearer ones could share a text", a.At.Format("15:04"), pr.At.Format("15:04"))
			}
		}
	}
	warned := func(src string) bool {
		_, ws, err := Parse("test.yaml", []byte(src), limits(t))
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range ws {
			if strings.Contains(w.Text, "4 feeds a day, ceiling 3 texts") && w.Line == 10 {
				return true
			}
		}
		return false
	}
	if !warned(src) {
		t.Error("nobody is told that four feeds have three texts")
	}
	if warned(strings.Replace(src, "per_day: 3", "per_day: 4", 1)) || warned(strings.Replace(src, "per_day: 3", "level: evening", 1)) {
		t.Error("warned where each feed has its text, or none was asked for")
	}
}
