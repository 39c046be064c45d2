package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hearthline/flows"
	"hearthline/internal/testneed"
)

// folder copies the test households and lets edit change one file.
func folder(t *testing.T, file string, edit func(string) string) []string {
	t.Helper()
	from := filepath.Join(testneed.Root(t), "testdata", "households")
	dir := t.TempDir()
	all, err := filepath.Glob(filepath.Join(from, "*.yaml"))
	if err != nil || len(all) == 0 {
		t.Fatalf("test households: %v, %v", all, err)
	}
	for _, path := range all {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if filepath.Base(path) == file {
			changed := edit(string(b))
			if changed == string(b) {
				t.Fatalf("the edit of %s changes nothing", file)
			}
			b = []byte(changed)
		}
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(path)), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	files, err := householdFiles(dir)
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func TestHouseholdFilesAreTakenAllOrNone(t *testing.T) {
	lim, err := loadLimits(flows.FS)
	if err != nil {
		t.Fatal(err)
	}
	swap := func(from, to string) func(string) string {
		return func(s string) string { return strings.Replace(s, from, to, 1) }
	}
	for _, c := range []struct {
		name, file string
		edit       func(string) string
		want       []string // what the error names
	}{
		{"a wrong field", "maple-17.yaml", swap("regimen:", "regimne:"), []string{"maple-17.yaml", "regimne"}},
		{"a code that is a name", "maple-17.yaml", swap("household: maple-17", "household: June R"), []string{"maple-17.yaml", "household", "June R"}},
		{"a number that is none", "maple-17.yaml", swap("+1 202 555 0117", "12345"), []string{"maple-17.yaml", "caregivers[0].phone"}},
		{"a missing regimen file", "maple-17.yaml", swap("maple-17.regimen.yaml", "gone.yaml"), []string{"maple-17.yaml", "regimen"}},
		{"a path out of the folder", "maple-17.yaml", swap("maple-17.regimen.yaml", "../maple-17.regimen.yaml"), []string{"regimen", "same folder"}},
		{"an impossible time zone", "maple-17.regimen.yaml", swap("America/Chicago", "America/Gotham"), []string{"maple-17.regimen.yaml:3", "time_zone", "America/Gotham"}},
		{"rate, volume and hours that contradict", "maple-17.regimen.yaml", swap("volume_ml: 640, rate_ml_per_h: 80", "volume_ml: 640, rate_ml_per_h: 80, hours: 10"), []string{"maple-17.regimen.yaml:12", "640"}},
		{"an unknown field of the regimen", "maple-17.regimen.yaml", swap("weight_kg", "wieght_kg"), []string{"maple-17.regimen.yaml", "wieght_kg"}},
		{"what stands out and nobody confirmed", "maple-17.yaml", swap("checked_by: nobody (invented)\n", ""), []string{"maple-17.yaml", "checked_by", "7 nights of 7"}},
		{"twins without tags", "birch-08.yaml", swap("tag: IRIS\n", ""), []string{"birch-08", "tag"}},
		{"twins with one tag", "birch-08.yaml", swap("tag: IRIS", "tag: noel"), []string{"tag"}},
	} {
		all, err := readHouseholds(folder(t, c.file, c.edit), "US", lim)
		if err == nil || len(all) != 0 {
			t.Errorf("%s: %d households were taken, error %v; want none and an error", c.name, len(all), err)
			continue
		}
		for _, want := range c.want {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: the error does not name %q: %v", c.name, want, err)
			}
		}
	}
	all, err := readHouseholds(folder(t, "", nil), "US", lim)
	if err != nil || len(all) != 5 {
		t.Errorf("the unchanged files: %d households, %v; want 5", len(all), err)
	}
}

func TestEnrolChecksWithoutAConfiguration(t *testing.T) {
	var out, errs bytes.Buffer
	s := &streams{in: strings.NewReader(""), out: &out, err: &errs}
	if code := run(append([]string{"enrol"}, folder(t, "", nil)...), s); code != 0 || !strings.Contains(out.String(), "nothing was stored") {
		t.Errorf("exit %d, out %q, err %q", code, out.String(), errs.String())
	}
}

func TestEveryCommandExplainsItself(t *testing.T) {
	for _, args := range [][]string{{"--help"}, {"demo", "--help"}, {"serve", "--help"}, {"enrol", "--help"}, {"plan", "--help"}, {"read", "--help"}, {"check", "--help"}, {"simulate", "--help"}} {
		var out, errs bytes.Buffer
		code := run(args, &streams{in: strings.NewReader(""), out: &out, err: &errs})
		if code != 0 || len(out.String()) < 300 {
			t.Errorf("%v: exit %d and %d characters of help; want 0 and enough to use it without another text", args, code, out.Len())
		}
	}
	var out, errs bytes.Buffer
	if code := run([]string{"simulat"}, &streams{in: strings.NewReader(""), out: &out, err: &errs}); code == 0 {
		t.Error("a command that is none ended well")
	}
}
