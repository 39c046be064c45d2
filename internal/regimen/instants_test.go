package regimen

import (
	"archive/zip"
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"hearthline/internal/testneed"
)

// What a clock change skips happens at the first instant after the gap; what
// it repeats happens once, at the first.
func TestInstantAtGapsAndFolds(t *testing.T) {
	cases := []struct {
		zone string
		y    int
		m    time.Month
		d    int
		min  int
		want string
	}{
		{"America/New_York", 2026, 3, 8, 2*60 + 30, "2026-03-08T07:00:00Z"},
		{"America/New_York", 2026, 3, 8, 2 * 60, "2026-03-08T07:00:00Z"},
		{"America/New_York", 2026, 3, 8, 3 * 60, "2026-03-08T07:00:00Z"},
		{"America/New_York", 2026, 3, 8, 1*60 + 59, "2026-03-08T06:59:00Z"},
		{"America/New_York", 2026, 11, 1, 1*60 + 30, "2026-11-01T05:30:00Z"},
		{"America/New_York", 2026, 11, 1, 2 * 60, "2026-11-01T07:00:00Z"},
		{"Australia/Lord_Howe", 2026, 10, 4, 2*60 + 15, "2026-10-03T15:30:00Z"}, // a change of half an hour
		{"Europe/London", 2026, 3, 29, 1*60 + 30, "2026-03-29T01:00:00Z"},
		{"Africa/Cairo", 2026, 4, 24, 0, "2026-04-23T22:00:00Z"}, // midnight itself is skipped
		{"Asia/Kathmandu", 2026, 1, 1, 0, "2025-12-31T18:15:00Z"},
		{"America/Chicago", 2040, 12, 31, 12 * 60, "2040-12-31T18:00:00Z"}, // beyond the zone's table
	}
	for _, c := range cases {
		loc, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		if got := Instant(loc, c.y, c.m, c.d, c.min).UTC().Format(time.RFC3339); got != c.want {
			t.Errorf("Instant(%s, %d-%02d-%02d %s) = %s, want %s", c.zone, c.y, c.m, c.d, Clock(c.min), got, c.want)
		}
	}
}

// Every change that zdump lists, as compiled by the IANA tools themselves: the
// minute of the change, the skipped or repeated minutes around it.
func TestInstantAgainstZdump(t *testing.T) {
	f, err := os.Open(filepath.Join(testneed.Data(t), "tz", "zdump_2024-2030.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	type change struct {
		zone          string
		at            int64
		before, after int64
	}
	var changes []change
	var last change
	sc := bufio.NewScanner(f)
	for sc.Scan() {
		// zone  Sun Mar 10 06:59:59 2024 UT = Sun Mar 10 01:59:59 2024 EST isdst=0 gmtoff=-18000
		w := strings.Fields(sc.Text())
		if len(w) < 16 {
			continue
		}
		at, err := time.Parse("Jan 2 15:04:05 2006", strings.Join(w[2:6], " "))
		if err != nil {
			continue
		}
		off, err := strconv.ParseInt(strings.TrimPrefix(w[len(w)-1], "gmtoff="), 10, 64)
		if err != nil {
			t.Fatalf("no offset in %q", sc.Text())
		}
		if last.zone == w[0] && at.Unix() == last.at+1 && off != last.before {
			changes = append(changes, change{w[0], at.Unix(), last.before, off})
		}
		last = change{zone: w[0], at: at.Unix(), before: off}
	}
	if len(changes) < 100 {
		t.Fatalf("only %d clock changes were read", len(changes))
	}
	gaps, folds, otherEdition := 0, 0, map[string]bool{}
	for _, c := range changes {
		loc, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Errorf("%s: %v", c.zone, err)
			continue
		}
		if z := spanAt(loc, c.at); z.start != c.at || z.offset != c.after || spanAt(loc, c.at-1).offset != c.before {
			// The listing and Go's zone files are of different editions of the
			// zone data: a country changed its law in between.
			otherEdition[c.zone] = true
			continue
		}
		check := func(reading, want int64, why string) {
			d := floorDiv(reading, 86400)
			if got := resolve(loc, dayIndex(d), int(reading-d*86400)/60); got != want {
				t.Errorf("%s, change at %s, %s: reading %s gave %s, want %s", c.zone, time.Unix(c.at, 0).UTC(), why,
					time.Unix(reading, 0).UTC().Format("15:04"), time.Unix(got, 0).UTC(), time.Unix(want, 0).UTC())
			}
		}
		check(c.at-60+c.before, c.at-60, "the minute before")
		if c.after > c.before {
			gaps++
			for m := int64(0); m < c.after-c.before; m += 60 {
				check(c.at+c.before+m, c.at, "skipped")
			}
			check(c.at+c.after, c.at, "the first after the gap")
		} else {
			folds++
			for m := int64(0); m < c.before-c.after; m += 60 {
				check(c.at+c.after+m, c.at+c.after+m-c.before, "repeated")
			}
			check(c.at+c.before, c.at+c.before-c.after, "the first after the fold")
		}
	}
	if len(otherEdition) > 3 {
		t.Errorf("%d zones change at other times than the listing says: %v", len(otherEdition), otherEdition)
	}
	t.Logf("%d gaps and %d folds; of another edition of the zone data: %v", gaps, folds, otherEdition)
}

// zoneNames returns every zone of the Go distribution.
func zoneNames(t *testing.T) []string {
	t.Helper()
	root, err := exec.Command(testneed.Command(t, "go"), "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.OpenReader(filepath.Join(strings.TrimSpace(string(root)), "lib", "time", "zoneinfo.zip"))
	if err != nil {
		t.Skip("the Go distribution here has no zoneinfo.zip: " + err.Error())
	}
	defer z.Close()
	var names []string
	for _, f := range z.File {
		if !strings.HasSuffix(f.Name, "/") {
			names = append(names, f.Name)
		}
	}
	sort.Strings(names)
	return names
}

// readings are the times of day that the comparison asks for: those around
// which zones change their clocks, and common feeding times.
const readings = "00:00,00:30,01:15,01:30,02:00,02:30,03:00,08:00,20:00"

// Every IANA zone and every day of 2024 to 2027 against luxon on node's own zone data.
func TestInstantsOfEveryZoneAndDayAgainstLuxon(t *testing.T) {
	testneed.Slow(t)
	compareWithLuxon(t, zoneNames(t), 2024, 2028)
}

// A few zones of every kind over one year, also with the race detector.
func TestInstantsAgainstLuxon(t *testing.T) {
	compareWithLuxon(t, []string{"America/Chicago", "Australia/Lord_Howe", "Africa/Casablanca", "Asia/Gaza", "America/Nuuk", "Pacific/Chatham"}, 2026, 2027)
}

func compareWithLuxon(t *testing.T, zones []string, from, to int) {
	dir := testneed.Node(t, "luxon")
	first := dayIndexOf(from, time.January, 1)
	days := int(dayIndexOf(to, time.January, 1) - first)
	var in bytes.Buffer
	for _, z := range zones {
		fmt.Fprintf(&in, "%s\t%s\t%d\t%s\n", z, first.day(), days, readings)
	}
	cmd := exec.Command("node", filepath.Join(dir, "instants.mjs"), "days")
	cmd.Dir, cmd.Stdin, cmd.Stderr = dir, &in, os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) != len(zones) {
		t.Fatalf("%d answers for %d zones", len(lines), len(zones))
	}
	var clocks []int
	for _, s := range strings.Split(readings, ",") {
		c, err := ParseClock(s)
		if err != nil {
			t.Fatal(err)
		}
		clocks = append(clocks, int(c))
	}
	compared, unknown := 0, 0
	for i, z := range zones {
		loc, err := time.LoadLocation(z)
		if err != nil {
			t.Errorf("%s: %v", z, err)
			continue
		}
		got := strings.Fields(lines[i])
		if len(got) != days*len(clocks) {
			t.Fatalf("%s: %d answers, want %d", z, len(got), days*len(clocks))
		}
		if got[0] == "NaN" {
			unknown++ // a name that node does not take as a zone (Factory)
			continue
		}
		bad := 0
		for k := range days {
			for j, c := range clocks {
				want, err := strconv.ParseInt(got[k*len(clocks)+j], 10, 64)
				if err != nil {
					t.Fatalf("%s: %q", z, got[k*len(clocks)+j])
				}
				compared++
				if have := resolve(loc, first+dayIndex(k), c); have != want && bad < 3 {
					bad++
					t.Errorf("%s %s %s: %s, luxon has %s", z, (first + dayIndex(k)).day(), Clock(c), time.Unix(have, 0).UTC(), time.Unix(want, 0).UTC())
				}
			}
		}
	}
	if unknown > 3 {
		t.Errorf("node knows %d zones fewer than Go", unknown)
	}
	t.Logf("%d instants in %d zones agree; %d names node does not take", compared, len(zones)-unknown, unknown)
}
