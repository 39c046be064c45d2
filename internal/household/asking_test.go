package household

import (
	"os"
	"strings"
	"testing"
	"time"
)

func askingSource(t testing.TB) string {
	t.Helper()
	src, err := os.ReadFile("../../flows/asking.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return string(src)
}

func TestAskingRefusesWhatCannotBeMeant(t *testing.T) {
	good := askingSource(t)
	for _, c := range []struct{ name, from, to, want string }{
		{"an unknown field", "remind_later:", "remind_latter:", "remind_latter"},
		{"no minutes", "minutes: 45", "minutes: 0", "second_ask_after"},
		{"silent before the second ask", "minutes: 120", "minutes: 30", "silent_after"},
		{"no source", "  decides: a feed above", "  decidez: a feed above", "decidez"},
		{"a share over 100", "percent: 80", "percent: 180", "short_under"},
		{"a time that is none", `at: "10:00"`, `at: "25:00"`, "day_list.at"},
		{"a weekday that is none", "[mon, tue", "[mun, tue", "mun"},
		{"a phrase that no text can hold", "[how much is left,", "[How much IS left?,", "questions.left.en"},
		{"a level that is none", "  each_step:", "  each_stp:", "each_stp"},
	} {
		text := strings.Replace(good, c.from, c.to, 1)
		if text == good {
			t.Fatalf("%s: the case changes nothing", c.name)
		}
		if _, err := ParseAsking("asking.yaml", []byte(text)); err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "asking.yaml") {
			t.Errorf("%s: error %v, want one that names the file and %q", c.name, err, c.want)
		}
	}
}

func TestDayListIsTheNextWorkingMorning(t *testing.T) {
	a, err := ParseAsking("asking.yaml", []byte(askingSource(t)))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ now, want string }{
		{"2026-11-30 09:59", "2026-11-30 10:00"}, // a Monday
		{"2026-11-30 10:00", "2026-12-01 10:00"},
		{"2026-12-04 18:00", "2026-12-07 10:00"}, // Friday evening to Monday
		{"2026-03-07 12:00", "2026-03-09 10:00"}, // over the night on which clocks go forward
	} {
		if got := a.DayList.after(at(c.now)); !got.Equal(at(c.want)) {
			t.Errorf("after %s: %s, want %s", c.now, got.Format(time.DateTime), c.want)
		}
	}
}

func FuzzParseAsking(f *testing.F) {
	f.Add([]byte(askingSource(f)))
	f.Add([]byte("second_ask_after: {minutes: 1e9}\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		a, err := ParseAsking("asking.yaml", b)
		if err == nil && (a.SilentAfter.Minutes <= a.SecondAskAfter.Minutes || a.DayList.after(at("2026-11-30 10:00")).IsZero()) {
			t.Errorf("taken, and makes no sense: %+v", a)
		}
	})
}
