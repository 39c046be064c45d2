package regimen

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"hearthline/internal/journal"
)

const closedDay = `household: test-1
time_zone: America/New_York
languages: [en, es]
tube: {kind: gastrostomy}
formula: {energy_kcal_per_ml: 1.2, protein_g_per_l: 54, water_fraction: 0.81, container_ml: 1000, system: closed, prepared: ready_to_feed}
feed_day_starts: "06:00"
birth_month: 1958-07
feeds:
  - {name: pump, start: "06:00", rate_ml_per_h: 65, hours: 24}
flush: {every_h: 4, every_ml: 60}
bag: {change_every_h: 24}
`

// A closed container holds what it holds: 1560 mL are two of 1000 mL, the
// second hung when the first has run in, and nobody is told to pour or rinse.
func TestClosedContainersAreHungOneAfterAnother(t *testing.T) {
	pl := compile(t, closedDay)
	start, _ := pl.DayStart("2026-03-04")
	fills := pl.FeedDay(start).Feeds[0].Fills
	// 1000 mL at 65 mL/h are 15 h 23 min.
	if len(fills) != 2 || fills[0].ML != 1000 || fills[1].ML != 560 || fills[1].At.Sub(fills[0].At) != 15*time.Hour+23*time.Minute {
		t.Fatalf("%+v", fills)
	}
	for lang, want := range map[string]string{"en": "hang the next container", "es": "cuelgue el siguiente envase"} {
		w := loadWords(t, lang)
		said := ""
		for _, pr := range pl.Prompts("2026-03-04", 1, Actual{}) {
			said += pl.Text(pr, w) + "\n"
		}
		var table, door bytes.Buffer
		if err := pl.WriteTable(&table, "2026-03-04", 1, w); err != nil {
			t.Fatal(err)
		}
		if err := pl.WriteDoorSheet(&door, "2026-03-04", lang, w); err != nil {
			t.Fatal(err)
		}
		for _, s := range []string{said, table.String(), door.String()} {
			s = strings.ToLower(s)
			if !strings.Contains(s, want) {
				t.Errorf("%s: nothing says %q:\n%s", lang, want, s)
			}
			for _, wrong := range []string{"pour", "rinse", " bag", "eche ", "bolsa"} {
				if strings.Contains(s, wrong) {
					t.Errorf("%s: %q is said of a closed system:\n%s", lang, wrong, s)
				}
			}
		}
	}
}

// Whatever the rate, no closed fill is larger than the container.
func TestClosedFillsFitTheContainer(t *testing.T) {
	for _, rate := range []string{"30", "65", "83.3", "125", "180"} {
		pl := compile(t, strings.Replace(closedDay, "rate_ml_per_h: 65", "rate_ml_per_h: "+rate, 1))
		start, _ := pl.DayStart("2026-03-04")
		f := pl.FeedDay(start).Feeds[0]
		var sum journal.ML
		for i, fl := range f.Fills {
			if sum += fl.ML; fl.ML > 1000 || (i+1 < len(f.Fills) && fl.ML != 1000) {
				t.Errorf("%s mL/h: %+v", rate, f.Fills)
			}
		}
		if sum != f.ML {
			t.Errorf("%s mL/h: fills come to %d of %d mL", rate, sum, f.ML)
		}
	}
}
