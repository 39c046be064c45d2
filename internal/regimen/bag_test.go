package regimen

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hearthline/internal/testneed"
)

// Where a file with a pump feed says nothing about the bag, it is changed as
// often as a bag and set must be; a syringe has none.
func TestBagIsChangedWhereTheFileIsSilent(t *testing.T) {
	for _, c := range []struct {
		feed string
		want int
	}{
		{`{name: f, start: "20:00", volume_ml: 640, rate_ml_per_h: 80}`, 1},
		{`{name: f, start: "20:00", volume_ml: 120, hours: 0.5, by: syringe}`, 0},
	} {
		pl := compile(t, minimal("America/Chicago", "07:00", "feeds:\n  - "+c.feed+"\n"))
		start, _ := pl.DayStart("2026-03-04")
		if n := len(pl.FeedDay(start).BagChanges); n != c.want {
			t.Errorf("%s: %d bag changes a day, want %d", c.feed, n, c.want)
		}
	}
}

// The languages that limits.yaml names are those that there are texts in.
func TestLanguagesAreThoseOfTheMessages(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(testneed.Root(t), "flows", "messages", "prompts.*.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var have []string
	for _, f := range files {
		have = append(have, strings.Split(filepath.Base(f), ".")[1])
	}
	if lang := limits(t).Languages; !slices.Equal(lang, have) {
		t.Errorf("limits.yaml says %v, texts are in %v", lang, have)
	}
}
