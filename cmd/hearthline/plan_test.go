package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hearthline/internal/testneed"
)

func runPlan(t *testing.T, c planCmd) (out, errs string, err error) {
	t.Helper()
	var o, e bytes.Buffer
	if c.Days == 0 {
		c.Days = 1
	}
	err = c.run(&streams{in: strings.NewReader(""), out: &o, err: &e}, time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC))
	return o.String(), e.String(), err
}

func maple(t *testing.T) string {
	return filepath.Join(testneed.Root(t), "testdata", "regimens", "maple-17.yaml")
}

// A night with a clock change is 8 h long all the same.
func TestPlanJSONOverTheClockChange(t *testing.T) {
	out, errs, err := runPlan(t, planCmd{File: maple(t), From: "2026-03-07", Days: 2, JSON: true})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(errs, "against a target of 1300 mL") || !strings.Contains(errs, "sat, sun: The feeds give 640 kcal") {
		t.Errorf("the warnings are not printed:\n%s", errs)
	}
	var ends []string
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		var p struct {
			At   time.Time
			Acts []struct {
				Kind, Feed string
				At         time.Time
				ML         int
			}
			Text map[string]string
		}
		if err := json.Unmarshal([]byte(line), &p); err != nil {
			t.Fatal(err)
		}
		if p.Text["en"] == "" {
			t.Errorf("no text: %s", line)
		}
		for _, a := range p.Acts {
			if a.Kind == "feed_end" {
				ends = append(ends, a.At.Format(time.RFC3339))
			}
		}
	}
	if got := strings.Join(ends, " "); got != "2026-03-08T05:00:00-05:00 2026-03-09T04:00:00-05:00" {
		t.Errorf("feeds end at %s", got)
	}
}

func TestPlanSummary(t *testing.T) {
	out, _, err := runPlan(t, planCmd{File: maple(t), From: "2026-03-06", Summary: true, JSON: true})
	if err != nil {
		t.Fatal(err)
	}
	var s struct {
		VolumeML     int     `json:"volume_ml"`
		EnergyKcal   float64 `json:"energy_kcal"`
		FlushWaterML int     `json:"flush_water_ml"`
		WaterML      float64 `json:"water_ml"`
		Fills        int
		Texts        int
		NightTexts   int `json:"night_texts"`
		Segments     int
		Per30Days    struct{ Texts, Segments, Containers int } `json:"per_30_days"`
	}
	if err := json.Unmarshal([]byte(out), &s); err != nil {
		t.Fatal(err)
	}
	if s.VolumeML != 880 || s.EnergyKcal != 880 || s.FlushWaterML != 135 || s.WaterML != 883 || s.Fills != 2 || s.Texts != 5 || s.NightTexts != 0 || s.Per30Days.Texts == 0 || s.Segments < s.Texts {
		t.Errorf("%+v", s)
	}
}

func TestPlanForms(t *testing.T) {
	for _, c := range []struct {
		c    planCmd
		want string
	}{
		{planCmd{From: "2026-03-06"}, "Start the overnight feed: 640 mL at 80 mL/h"},
		{planCmd{From: "2026-03-06", ICS: true}, "BEGIN:VCALENDAR\r\n"},
		{planCmd{From: "2026-03-06", HTML: true, Lang: "es"}, "Empiece la toma overnight: 640 mL a 80 mL/h"},
		{planCmd{From: "2026-03-06", Summary: true}, "30 days"},
		{planCmd{}, "Monday 2026-06-01"}, // today's feed day
	} {
		c.c.File = maple(t)
		out, _, err := runPlan(t, c.c)
		if err != nil || !strings.Contains(out, c.want) {
			t.Errorf("%+v: %v, no %q in\n%s", c.c, err, c.want, out)
		}
	}
}

func TestPlanRefuses(t *testing.T) {
	dir := t.TempDir()
	good, err := os.ReadFile(maple(t))
	if err != nil {
		t.Fatal(err)
	}
	file := func(name, from, to string) string {
		src := strings.Replace(string(good), from, to, 1)
		if src == string(good) {
			t.Fatalf("%s: nothing was changed", name)
		}
		path := filepath.Join(dir, name+".yaml")
		if err := os.WriteFile(path, []byte(src), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, c := range []struct {
		c    planCmd
		want string
	}{
		{planCmd{File: file("fast", "rate_ml_per_h: 160", "rate_ml_per_h: 240")}, "say --accept"},
		{planCmd{File: file("unknown", "by_mouth_first", "by_mouth_frist")}, ":21:1: by_mouth_frist: unknown field"},
		{planCmd{File: file("future", "placed: 2026-05-02", "placed: 2026-06-02")}, "is in the future"},
		{planCmd{File: maple(t), Days: 5000}, "want 1 to 1830"},
		{planCmd{File: maple(t), From: "soon"}, "want a date"},
		{planCmd{File: filepath.Join(dir, "none.yaml")}, "no such file"},
	} {
		out, _, err := runPlan(t, c.c)
		if err == nil || !strings.Contains(err.Error(), c.want) || out != "" {
			t.Errorf("%+v: %v, printed %q", c.c, err, out)
		}
	}
	if out, _, err := runPlan(t, planCmd{File: file("accepted", "rate_ml_per_h: 160", "rate_ml_per_h: 240"), Accept: true}); err != nil || out == "" {
		t.Errorf("accepted: %v", err)
	}
}

func TestPlanOfAFHIROrder(t *testing.T) {
	dir := filepath.Join(testneed.Data(t), "fhir_r4")
	out, errs, err := runPlan(t, planCmd{File: filepath.Join(dir, "nutritionorder-example-enteralbolus.json")})
	if err != nil || !strings.Contains(out, "total     1440 mL in 6 feeds") || !strings.Contains(errs, "a draft") {
		t.Errorf("%v\n%s%s", err, out, errs)
	}
	out, errs, err = runPlan(t, planCmd{File: filepath.Join(dir, "nutritionorder-example-enteralcontinuous.json")})
	if err == nil || out != "" || !strings.Contains(errs, "960 mL") || !strings.Contains(errs, "880 mL") {
		t.Errorf("%v\n%s%s", err, out, errs)
	}
}
