package regimen

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"hearthline/internal/journal"
	"hearthline/internal/testneed"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// golden compares with a file under testdata/regimens.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join(testneed.Root(t), "testdata", "regimens", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs; look at the difference, then -update\n%s", name, got)
	}
}

func TestGoldenOutputs(t *testing.T) {
	pl := maple(t)
	say := func(lang string) Phrases { return loadWords(t, lang) }
	var table, lines, ics, door, report bytes.Buffer
	for _, err := range []error{
		pl.WriteTable(&table, "2026-03-06", 2, say("en")),
		pl.WriteJSONLines(&lines, "2026-03-06", 2, say),
		pl.WriteICS(&ics, "2026-03-06", 1, say("es")),
		pl.WriteDoorSheet(&door, "2026-03-06", "es", say("es")),
		pl.Report("2026-03-06", 3, say).WriteJSON(&report),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	golden(t, "maple-17.table.txt", table.Bytes())
	golden(t, "maple-17.jsonl", lines.Bytes())
	golden(t, "maple-17.es.ics", ics.Bytes())
	golden(t, "maple-17.es.html", door.Bytes())
	golden(t, "maple-17.summary.json", report.Bytes())
}

// RFC 5545: lines of at most 75 octets ended by CRLF, folded between characters
// (3.1); every BEGIN has its END; a VEVENT has UID, DTSTAMP and DTSTART (3.6.1),
// a display alarm ACTION, DESCRIPTION and TRIGGER (3.6.6); UIDs differ; instants in UTC.
func TestICSHoldsToRFC5545(t *testing.T) {
	lim := limits(t)
	es := loadWords(t, "es")
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		var b bytes.Buffer
		day := drawDay(t)
		if err := pl.WriteICS(&b, day, 2, es); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		if strings.Contains(strings.ReplaceAll(text, "\r\n", ""), "\n") || !strings.HasSuffix(text, "\r\n") {
			t.Fatal("a line is not ended by CRLF")
		}
		for _, l := range strings.Split(text, "\r\n") {
			if len(l) > 75 || !utf8.ValidString(l) {
				t.Fatalf("%d octets, valid %v: %q", len(l), utf8.ValidString(l), l)
			}
		}
		var open []string
		props := map[string]int{}
		uids := map[string]bool{}
		events := 0
		for _, l := range strings.Split(strings.TrimSuffix(strings.ReplaceAll(text, "\r\n ", ""), "\r\n"), "\r\n") {
			name, v, ok := strings.Cut(l, ":")
			if !ok {
				t.Fatalf("no property: %q", l)
			}
			switch name {
			case "BEGIN":
				open = append(open, v)
			case "END":
				if len(open) == 0 || open[len(open)-1] != v {
					t.Fatalf("END:%s closes %v", v, open)
				}
				if v == "VEVENT" {
					events++
					for _, want := range []string{"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "TRIGGER"} {
						if props[want] != 1 {
							t.Fatalf("%s stands %d times in an event", want, props[want])
						}
					}
					props = map[string]int{}
				}
				open = open[:len(open)-1]
			case "UID":
				if uids[v] {
					t.Fatalf("UID twice: %s", v)
				}
				uids[v] = true
			case "DTSTART", "DTEND", "DTSTAMP":
				if _, err := time.Parse("20060102T150405Z", v); err != nil {
					t.Fatal(err)
				}
			case "DESCRIPTION", "SUMMARY":
				for i := range len(v) {
					if (v[i] == ',' || v[i] == ';') && (i == 0 || v[i-1] != '\\') {
						t.Fatalf("not escaped: %s", v)
					}
				}
			}
			props[name]++
		}
		if len(open) != 0 || events != len(pl.Prompts(day, 2, Actual{})) {
			t.Fatalf("%d events, open %v", events, open)
		}
	})
}

// What is carried in and opened is used, kept or thrown away, and one day's
// kept is the next day's carried; any call agrees with any other.
func TestSuppliesBalance(t *testing.T) {
	lim := limits(t)
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		start, _ := pl.DayStart(drawDay(t))
		days := pl.Supplies(start, 9)
		for i, s := range days {
			if !s.Balanced(250) {
				t.Fatalf("%+v", s)
			}
			if i > 0 && s.CarriedML != days[i-1].KeptML {
				t.Fatalf("%s kept %d, %s begins with %d", days[i-1].Day, days[i-1].KeptML, s.Day, s.CarriedML)
			}
			at, _ := pl.DayStart(s.Day)
			if one := pl.Supplies(at, 1)[0]; one != s {
				t.Fatalf("alone %+v, in a row %+v", one, s)
			}
			if tot := pl.FeedDay(at).Totals; s.UsedML != tot.VolumeML {
				t.Fatalf("%s: used %d of %d", s.Day, s.UsedML, tot.VolumeML)
			}
		}
	})
}

// Whole containers are poured where that opens fewer or keeps less.
func TestWholeContainers(t *testing.T) {
	// 640 mL over 16 h, 8 h each: 320 + 320 would keep 154 mL of 237 cold for 8 h;
	// 237 + 237 + 166 hangs shorter but pours once more, so two fills stay.
	got := planFills(640, 16*3600, 8*3600, 0, 237, 24*3600)
	if len(got) != 2 || got[0].ml != 320 {
		t.Errorf("%v", got)
	}
	// 960 mL over 16 h with 240 mL containers: 480 is two whole ones.
	if got := planFills(960, 16*3600, 8*3600, 0, 240, 24*3600); len(got) != 2 || got[0].ml != 480 {
		t.Errorf("%v", got)
	}
	// 900 mL over 12 h: 450 + 450 keeps 30 mL of a 240 mL container; 480 + 420 keeps none.
	if got := planFills(900, 12*3600, 8*3600, 0, 240, 24*3600); len(got) != 2 || got[0].ml != 480 || got[1].ml != 420 {
		t.Errorf("%v", got)
	}
	// What is opened must not be kept at all: whole containers open 3, halves 4.
	if got := planFills(720, 12*3600, 9*3600, 0, 240, 0); len(got) != 2 || got[0].ml != 480 {
		t.Errorf("%v", got)
	}
}

// The sums of the summary are the sums of its days.
func TestReportAddsUp(t *testing.T) {
	lim := limits(t)
	w := loadWords(t, "en")
	rapid.Check(t, func(t *rapid.T) {
		pl := drawPlan(t, lim)
		day := drawDay(t)
		r := pl.Report(day, 4, func(string) Phrases { return w })
		var volume, flush journal.ML
		texts := 0
		for i, d := range r.Days {
			volume, flush, texts = volume+d.VolumeML, flush+d.FlushWaterML, texts+d.Texts
			one := pl.Report(d.Day, 1, func(string) Phrases { return w })
			a, _ := json.Marshal(one.Days[0])
			b, _ := json.Marshal(r.Days[i])
			if !bytes.Equal(a, b) {
				t.Fatalf("alone %s, in a row %s", a, b)
			}
		}
		if r.VolumeML != volume || r.FlushWaterML != flush || r.Texts != texts {
			t.Fatalf("%+v", r)
		}
	})
}

// Where nobody knows how large a container is, how many are opened is not known
// either: null, not 0.
func TestContainersNotKnown(t *testing.T) {
	src := strings.Replace(minimal("America/Chicago", "07:00", "feeds:\n  - {name: f, start: \"20:00\", volume_ml: 640, rate_ml_per_h: 80}\n"), ", container_ml: 250", "", 1)
	w := loadWords(t, "en")
	r := compile(t, src).Report("2026-03-04", 2, func(string) Phrases { return w })
	var js, text bytes.Buffer
	if err := r.WriteJSON(&js); err != nil {
		t.Fatal(err)
	}
	if err := r.WriteText(&text); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(js.String(), `"containers_opened": null`); n != 3 || !strings.Contains(js.String(), `"containers": null`) || !strings.Contains(js.String(), `"thrown_away_ml": null`) {
		t.Errorf("%d days without a count:\n%s", n, js.String())
	}
	if n := strings.Count(text.String(), "containers not known"); n != 3 {
		t.Errorf("%s", text.String())
	}
}

func TestSegmentsCount(t *testing.T) {
	for _, c := range []struct {
		text string
		want int
	}{
		{"", 0}, {strings.Repeat("a", 160), 1}, {strings.Repeat("a", 161), 2}, {strings.Repeat("a", 306), 2}, {strings.Repeat("a", 307), 3},
		{strings.Repeat("a", 159) + "€", 2}, {strings.Repeat("a", 158) + "€", 1},
		{strings.Repeat("č", 70), 1}, {strings.Repeat("č", 71), 2}, {strings.Repeat("é", 160), 1}, {strings.Repeat("í", 71), 2},
	} {
		if got := Segments(c.text); got != c.want {
			t.Errorf("Segments(%d x %.3q) = %d, want %d", utf8.RuneCountInString(c.text), c.text, got, c.want)
		}
	}
}
