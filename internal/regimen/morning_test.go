package regimen

import (
	"strings"
	"testing"
)

// The first text after a feed that ran in quiet hours asks how the night went
// and says where help is, also where the feed ends when they are over; after a
// feed of the day nobody asks that.
func TestMorningAsksHowTheNightWent(t *testing.T) {
	const quiet = "prompts: {quiet: {from: \"22:00\", until: \"06:00\"}}\n"
	for _, c := range []struct {
		name, feed, at string
		night          bool
	}{
		{"ends in the night", `{name: f, start: "20:00", volume_ml: 640, rate_ml_per_h: 80}`, "2026-03-05T06:00:00-06:00", true},
		{"ends with the quiet hours", `{name: f, start: "20:00", volume_ml: 800, rate_ml_per_h: 80}`, "2026-03-05T06:00:00-06:00", true},
		{"ends after them", `{name: f, start: "20:00", volume_ml: 840, rate_ml_per_h: 80}`, "2026-03-05T06:30:00-06:00", true},
		{"begins in them", `{name: f, start: "23:00", volume_ml: 640, rate_ml_per_h: 80}`, "2026-03-05T07:00:00-06:00", true},
		{"ends as they begin", `{name: f, start: "12:00", volume_ml: 800, rate_ml_per_h: 80}`, "2026-03-04T22:00:00-06:00", false},
		{"runs by day", `{name: f, start: "08:00", volume_ml: 640, rate_ml_per_h: 80}`, "2026-03-04T16:00:00-06:00", false},
	} {
		pl := compile(t, minimal("America/Chicago", "07:00", "feeds:\n  - "+c.feed+"\n"+quiet))
		for lang, want := range map[string][2]string{"en": {"Any vomiting, cough or alarm?", "call your care team"}, "es": {"¿Vomita, tose o suena la alarma?", "llame a su equipo"}} {
			found := false
			for _, pr := range pl.Prompts("2026-03-04", 1, Actual{}) {
				if pr.Asks.Kind != AskFeedEnd {
					continue
				}
				found = true
				text := pl.Text(pr, loadWords(t, lang))
				if !pr.At.Equal(instant(t, c.at)) && c.night {
					t.Errorf("%s: asked at %s", c.name, pr.At)
				}
				if strings.Contains(text, want[0]) != c.night || strings.Contains(text, want[1]) != c.night {
					t.Errorf("%s: %s", c.name, text)
				}
				if Segments(text) > 2 {
					t.Errorf("%s: %d segments: %s", c.name, Segments(text), text)
				}
			}
			if !found {
				t.Errorf("%s: nothing asks about the end", c.name)
			}
		}
	}
	// Round the clock, the question stands beside the next start.
	pl, w := compile(t, closedDay), loadWords(t, "en")
	pr, _ := pl.Next(instant(t, "2026-03-05T05:59:00-05:00"), Actual{})
	if text := pl.Text(pr, w); !strings.Contains(text, "Any vomiting") || !strings.Contains(text, "care team") || !strings.Contains(text, "start the pump feed") || Segments(text) > 2 {
		t.Errorf("%d segments: %s", Segments(text), text)
	}
}
