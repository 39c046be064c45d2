package regimen

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"hearthline/internal/testneed"
)

const oneFeed = "feeds:\n  - {name: night, start: \"20:00\", volume_ml: 640, rate_ml_per_h: 80}\n"

// Every fault is told with line, field and what would be right.
func TestParseRefuses(t *testing.T) {
	feed := func(rest string) string {
		return minimal("America/Chicago", "07:00", "feeds:\n  - {name: night, start: \"20:00\", "+rest+"}\n")
	}
	cases := []struct {
		name, src string
		line      int
		field     string
		says      string
	}{
		{"unknown field", minimal("UTC", "07:00", oneFeed+"flushh: 3\n"), 10, "flushh", "unknown field"},
		{"unknown field inside", feed("volume_ml: 640, rate_ml_per_h: 80, speed: 3"), 9, "feeds[0].speed", "unknown field"},
		{"field twice", minimal("UTC", "07:00", oneFeed+"household: b\n"), 10, "", "already defined"},
		{"impossible zone", minimal("America/Chicagoo", "07:00", oneFeed), 2, "time_zone", "not a time zone"},
		{"the machine's zone", minimal("Local", "07:00", oneFeed), 2, "time_zone", "not a time zone"},
		{"time of day", minimal("UTC", "7:00", oneFeed), 6, "feed_day_starts", "not a time of day"},
		{"three that disagree", feed("volume_ml: 640, rate_ml_per_h: 80, hours: 9"), 9, "feeds[0]", "give 720 mL, but volume_ml is 640"},
		{"only one of the three", feed("volume_ml: 640"), 9, "feeds[0]", "fewer than two"},
		{"over a day's possible", feed("volume_ml: 2000, rate_ml_per_h: 80"), 9, "feeds[0]", "at most 1920 mL in a day"},
		{"beyond what pumps do", feed("volume_ml: 640, rate_ml_per_h: 601"), 9, "feeds[0].rate_ml_per_h", "beyond what pumps do"},
		{"octal-looking", feed("volume_ml: 010, rate_ml_per_h: 80"), 9, "feeds[0].volume_ml", "010"},
		{"exponent", feed("volume_ml: 1e3, rate_ml_per_h: 80"), 9, "feeds[0].volume_ml", "1e3"},
		{"crosses the feed day", minimal("UTC", "22:00", oneFeed), 9, "feeds[0]", "crosses the start of the feed day"},
		{"overlap", minimal("UTC", "07:00", oneFeed+"  - {name: late, start: \"22:00\", volume_ml: 100, rate_ml_per_h: 100}\n"), 10, "feeds[1]", "while \"night\" runs until"},
		{"same name", minimal("UTC", "07:00", oneFeed+"  - {name: night, start: \"12:00\", volume_ml: 100, rate_ml_per_h: 100}\n"), 10, "feeds[1].name", "is called"},
		{"bolus into the jejunum", strings.Replace(feed("volume_ml: 200, hours: 0.5"), "gastrostomy", "jejunostomy", 1), 9, "feeds[0]", "bolus into the jejunum"},
		{"sugar lowering alone", minimal("UTC", "07:00", oneFeed+"sugar_lowering: true\n"), 10, "sugar_lowering", "without longest_gap_h"},
		{"gap without text", minimal("UTC", "07:00", oneFeed+"longest_gap_h: 4\n"), 10, "longest_gap_h", "without if_feed_stops"},
		{"must end before it can", feed("volume_ml: 640, rate_ml_per_h: 80, must_end_by: \"03:00\""), 9, "feeds[0].must_end_by", "takes 480 min"},
		{"everything must end before it can", minimal("UTC", "07:00", oneFeed+"must_end_by: \"03:00\"\n"), 10, "must_end_by", "must end by 03:00, but from 20:00 its 640 mL at 80 mL/h run until 04:00"},
		{"no texts in the language", strings.Replace(minimal("UTC", "07:00", oneFeed), "[en]", "[en, fr]", 1), 3, "languages[1]", "no texts are written in \"fr\""},
		{"no texts for the region", strings.Replace(minimal("UTC", "07:00", oneFeed), "[en]", "[es-MX]", 1), 3, "languages[0]", "no texts are written in \"es-MX\""},
		{"every_h alone", minimal("UTC", "07:00", oneFeed+"flush: {every_h: 4}\n"), 10, "flush", "belong together"},
		{"medicines without water", minimal("UTC", "07:00", oneFeed+"flush: {medication: [{at: \"08:00\", medicines: 2}]}\n"), 10, "flush", "medication_ml is missing"},
		{"port of a one-port tube", feed("volume_ml: 640, rate_ml_per_h: 80, port: gastric"), 9, "feeds[0].port", "has one port"},
		{"anchor", minimal("UTC", "07:00", oneFeed+"bag: &b {change_every_h: 24}\n"), 10, "bag", "anchor"},
		{"not YAML", "household: [", 1, "", ""},
		{"two documents", minimal("UTC", "07:00", oneFeed) + "---\na: 1\n", 1, "", "2 documents"},
		{"empty", "", 1, "", "0 documents"},
		{"advance to nowhere", minimal("UTC", "07:00", oneFeed+"advance: {feed: noon, what: rate_ml_per_h, step: 10, every_h: 8, goal: 100}\n"), 10, "advance.feed", "no feed is called"},
	}
	lim := limits(t)
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			p, ws, err := Parse("a.yaml", []byte(c.src), lim)
			if err == nil {
				t.Fatalf("was accepted: %+v", p)
			}
			if p != nil || ws != nil {
				t.Error("something was loaded beside the error")
			}
			var probs Problems
			if !errors.As(err, &probs) {
				t.Fatalf("%T is no Problems", err)
			}
			for _, e := range probs {
				if e.Line == c.line && e.Field == c.field && strings.Contains(e.Error(), c.says) {
					return
				}
			}
			t.Errorf("got:\n%v\nwant line %d, field %q, %q", err, c.line, c.field, c.says)
		})
	}
}

func TestParseOnKnowsToday(t *testing.T) {
	today := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	src := strings.Replace(minimal("UTC", "07:00", oneFeed), "{kind: gastrostomy}", "{kind: gastrostomy, placed: 2026-03-02}", 1)
	if _, _, err := ParseOn("a.yaml", []byte(src), limits(t), today); err == nil || !strings.Contains(err.Error(), "a.yaml:4:35: tube.placed: 2026-03-02 is in the future") {
		t.Errorf("a tube placed tomorrow: %v", err)
	}
	for _, c := range []struct {
		birth, on string
		old       bool
	}{
		{"2025-06", "2026-01-29", true},  // 8 months, 31 days
		{"2025-06", "2026-01-30", false}, // 30 days
		{"2025-02", "2026-01-01", false}, // 1 year by the month's last day: 90 days are allowed
		{"2025-03", "2026-01-01", true},  // may still be under 1 year: the last day of the month counts
		{"2022-01", "2025-11-30", true},  // 4 years, 91 days
		{"2020-01", "2024-01-01", false}, // over 5: no rule
	} {
		src := strings.Replace(minimal("UTC", "07:00", oneFeed+"weight_kg: 10\nweight_on: "+c.on+"\n"), "birth_month: 1980-01", "birth_month: "+c.birth, 1)
		_, ws, err := ParseOn("a.yaml", []byte(src), limits(t), today)
		if err != nil {
			t.Fatal(err)
		}
		old := false
		for _, w := range ws {
			old = old || strings.Contains(w.Text, "days old")
		}
		if old != c.old {
			t.Errorf("born %s, weighed %s: told as old %v, want %v", c.birth, c.on, old, c.old)
		}
	}
}

// The example says of itself that it stays under its water target, and gives
// 640 kcal on weekends; and a rate over 200 mL/h must be accepted.
func TestParseWarns(t *testing.T) {
	_, ws, err := Parse("maple-17.yaml", regimenFile(t, "maple-17.yaml"), limits(t))
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, w := range ws {
		all = append(all, w.String())
	}
	text := strings.Join(all, "\n")
	for _, want := range []string{
		"targets.water_ml: mon, tue, wed, thu, fri: Formula and flushes give 883 mL of water against a target of 1300 mL",
		"targets.energy_kcal: sat, sun: The feeds give 640 kcal against a target of 880 kcal",
		"45 % of the estimate 1410 kcal",
		"16 h without, from sat 04:00",
		"on 7 nights of 7, at 00:00, 04:00",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no warning says %q:\n%s", want, text)
		}
	}
	_, ws, err = Parse("a.yaml", []byte(minimal("UTC", "07:00", "feeds: [{name: a, start: \"12:00\", volume_ml: 240, rate_ml_per_h: 201}]\n")), limits(t))
	if err != nil || len(ws) == 0 || !ws[0].Accept {
		t.Errorf("201 mL/h: %v, %v; want a warning to accept", ws, err)
	}
}

// A prescription is the same after a way through JSON, as journal and state keep it.
func TestPrescriptionRoundTripsThroughJSON(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(testneed.Root(t), "testdata", "regimens", "*.yaml"))
	if err != nil || len(files) == 0 {
		t.Fatal("no regimens", err)
	}
	for _, f := range files {
		src, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		p, _, err := Parse(f, src, limits(t))
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		b, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		var back Prescription
		if err := json.Unmarshal(b, &back); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(*p, back) {
			t.Errorf("%s: %+v came back as %+v", f, *p, back)
		}
	}
}

func FuzzParse(f *testing.F) {
	lim := limits(f)
	f.Add(regimenFile(f, "maple-17.yaml"))
	f.Add([]byte(minimal("UTC", "07:00", oneFeed)))
	f.Add([]byte("a: [[[[[[\n"))
	f.Add([]byte("? a\n: - - -\n"))
	f.Fuzz(func(t *testing.T, src []byte) {
		p, _, err := ParseOn("f.yaml", src, lim, time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
		if err != nil {
			var probs Problems
			if !errors.As(err, &probs) || len(probs) == 0 {
				t.Fatalf("%T", err)
			}
			for _, e := range probs {
				if e.Line < 1 || e.Col < 1 || e.File == "" {
					t.Fatalf("no place: %+v", e)
				}
			}
			return
		}
		pl, err := Compile(p, lim)
		if err != nil {
			t.Fatalf("accepted, but cannot be compiled: %v", err)
		}
		pl.Next(time.Date(2026, 3, 8, 0, 0, 0, 0, time.UTC), Actual{})
		pl.FeedDay(time.Date(2026, 3, 8, 12, 0, 0, 0, time.UTC))
	})
}

func FuzzParseLimits(f *testing.F) {
	src, err := os.ReadFile(filepath.Join(testneed.Root(f), "flows", "limits.yaml"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(src)
	f.Fuzz(func(t *testing.T, src []byte) {
		if lim, err := ParseLimits("l.yaml", src); (lim == nil) == (err == nil) {
			t.Fatalf("limits %v, error %v", lim, err)
		}
	})
}
