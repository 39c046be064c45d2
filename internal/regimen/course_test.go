package regimen

import (
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"hearthline/internal/journal"
)

const nightFeed = "feeds:\n  - {name: night, start: \"20:00\", volume_ml: 600, rate_ml_per_h: 60}\n"

func changed(t *testing.T, c Course, when, rate string) Course {
	t.Helper()
	p := parse(t, minimal("America/Chicago", "07:00", strings.Replace(nightFeed, "60}", rate+"}", 1)))
	c, err := c.Change(Span{From: at(t, when), Prescription: p, Why: WhyChange, CheckedBy: "rn-2", CheckedAt: at(t, when)})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func baseCourse(t *testing.T) Course {
	return NewCourse(parse(t, minimal("America/Chicago", "07:00", nightFeed)), instant(t, "2026-02-01T07:00:00-06:00"))
}

func courseFeeds(t *testing.T, c Course, day journal.Day) (*Plan, []Occurrence) {
	t.Helper()
	pl, err := CompileCourse(&c, limits(t))
	if err != nil {
		t.Fatal(err)
	}
	start, _ := pl.DayStart(day)
	return pl, pl.FeedDay(start).Feeds
}

// 60 mL/h from 20:00; at 22:00, with 120 mL in, the order becomes 80 mL/h: the
// other 480 mL take 6 h, to 04:00.
func TestChangeInMidFeed(t *testing.T) {
	c := changed(t, baseCourse(t), "2026-02-04T22:00:00-06:00", "80")
	pl, feeds := courseFeeds(t, c, "2026-02-04")
	if len(feeds) != 2 || feeds[0].ML != 120 || feeds[1].ML != 480 || !feeds[1].Carried ||
		!feeds[0].End.Equal(instant(t, "2026-02-04T22:00:00-06:00")) || !feeds[1].End.Equal(instant(t, "2026-02-05T04:00:00-06:00")) {
		t.Fatalf("%+v", feeds)
	}
	pr, _ := pl.Next(instant(t, "2026-02-04T21:00:00-06:00"), Actual{})
	w := loadWords(t, "en")
	if pr.Asks.Kind != AskReadBack || !pr.At.Equal(instant(t, "2026-02-04T22:00:00-06:00")) || !strings.Contains(pl.Text(pr, w), "Rate is now 80, was 60. What does the pump show?") {
		t.Errorf("%s: %+v %q", pr.At, pr.Asks, pl.Text(pr, w))
	}
	end, _ := pl.Next(pr.At, Actual{})
	if end.Asks.Kind != AskFeedEnd {
		t.Errorf("after it: %s %+v", end.At, end.Asks)
	}
}

// Between two feeds the read-back comes with the next start, and not a second time.
func TestReadBackWithTheNextStart(t *testing.T) {
	c := changed(t, baseCourse(t), "2026-02-04T12:00:00-06:00", "70")
	pl, _ := courseFeeds(t, c, "2026-02-04")
	pr, _ := pl.Next(instant(t, "2026-02-04T12:00:00-06:00"), Actual{})
	if pr.ReadBack == nil || pr.ReadBack.Rate != 70_000 || pr.ReadBack.WasHad != 60_000 || pr.Asks.Kind != AskReadBack {
		t.Fatalf("%+v", pr)
	}
	tomorrow, _ := pl.Next(instant(t, "2026-02-05T12:00:00-06:00"), Actual{})
	if tomorrow.ReadBack != nil {
		t.Errorf("asked again: %+v", tomorrow)
	}
}

func TestPauseAndReturn(t *testing.T) {
	c := baseCourse(t).Pause(instant(t, "2026-02-04T22:00:00-06:00"))
	pl, feeds := courseFeeds(t, c, "2026-02-04")
	if len(feeds) != 1 || feeds[0].ML != 120 || feeds[0].ShortML != 480 {
		t.Fatalf("%+v", feeds)
	}
	if pr, ok := pl.Next(instant(t, "2026-02-05T08:00:00-06:00"), Actual{}); ok {
		t.Errorf("in a pause: %+v", pr)
	}
	if _, in := c.InForce(instant(t, "2026-02-06T00:00:00-06:00")); in {
		t.Error("an order is in force in a pause")
	}
	// "We are home" starts nothing: only an order that somebody checked does.
	p := parse(t, minimal("America/Chicago", "07:00", nightFeed))
	if _, err := c.Change(Span{From: at(t, "2026-02-08T18:00:00-06:00"), Prescription: p, Why: WhyResume}); !errors.Is(err, ErrUnchecked) {
		t.Errorf("an unchecked order: %v", err)
	}
	c, err := c.Change(Span{From: at(t, "2026-02-08T21:00:00-06:00"), Prescription: p, Why: WhyResume, CheckedBy: "rn-2", CheckedAt: 1})
	if err != nil {
		t.Fatal(err)
	}
	pl, feeds = courseFeeds(t, c, "2026-02-08")
	if len(feeds) != 0 {
		t.Errorf("home at nine, and the feed of eight was begun: %+v", feeds)
	}
	if pr, ok := pl.Next(instant(t, "2026-02-05T08:00:00-06:00"), Actual{}); !ok || !pr.At.Equal(instant(t, "2026-02-09T20:00:00-06:00")) {
		t.Errorf("the first prompt after the return: %v %s", ok, pr.At)
	}
}

// A trip keeps the wall-clock times in the other zone.
func TestTrip(t *testing.T) {
	away := parse(t, minimal("Europe/Madrid", "07:00", nightFeed))
	c, err := baseCourse(t).Change(Span{From: at(t, "2026-02-05T12:00:00-06:00"), Prescription: away, Why: WhyTrip})
	if err != nil {
		t.Fatal(err)
	}
	pl, err := CompileCourse(&c, limits(t))
	if err != nil {
		t.Fatal(err)
	}
	pr, _ := pl.Next(instant(t, "2026-02-06T12:00:00Z"), Actual{})
	if !pr.At.Equal(instant(t, "2026-02-06T20:00:00+01:00")) {
		t.Errorf("the first start there is at %s", pr.At)
	}
}

func TestAdvancement(t *testing.T) {
	src := minimal("America/Chicago", "07:00", "feeds:\n  - {name: day, start: \"08:00\", rate_ml_per_h: 20, hours: 12}\nadvance: {feed: day, what: rate_ml_per_h, step: 15, every_h: 24, goal: 60}\n")
	c := NewCourse(parse(t, src), instant(t, "2026-02-01T07:00:00-06:00"))
	var rates []string
	for now := instant(t, "2026-02-01T08:00:00-06:00"); ; {
		p, due, ok := c.NextStep(now)
		if !ok {
			break
		}
		if pl, err := CompileCourse(&c, limits(t)); err != nil || pl.FeedDay(due.AddDate(0, 0, 30)).Feeds[0].RateMLPerH != c.Spans[len(c.Spans)-1].Prescription.Feeds[0].RateMLPerH {
			t.Fatal("a step came into force without a release", err)
		}
		rates = append(rates, p.Feeds[0].RateMLPerH.String()+"/"+mlText(p.Feeds[0].VolumeML))
		var err error
		if c, err = c.Change(Span{From: journal.At(due), Prescription: p, Why: WhyStep, Step: len(rates), CheckedBy: "rn-2", CheckedAt: journal.At(due)}); err != nil {
			t.Fatal(err)
		}
		now = due.Add(time.Hour)
	}
	if want := []string{"35/420", "50/600", "60/720"}; !reflect.DeepEqual(rates, want) {
		t.Errorf("steps %v, want %v", rates, want)
	}
}

func TestCourseRefusesAndRoundTrips(t *testing.T) {
	p := parse(t, minimal("UTC", "07:00", nightFeed))
	for _, c := range []struct {
		spans []Span
		want  error
	}{
		{nil, ErrNoFeeds},
		{[]Span{{From: 5, Until: 5, Prescription: p}}, ErrOrder},
		{[]Span{{From: 5, Prescription: p}, {From: 9, Prescription: p, CheckedBy: "x", CheckedAt: 1}}, ErrOrder},
		{[]Span{{From: 5, Until: 9, Prescription: p}, {From: 9, Prescription: p}}, ErrUnchecked},
	} {
		if _, err := CompileCourse(&Course{Spans: c.spans}, limits(t)); !errors.Is(err, c.want) {
			t.Errorf("%v: %v, want %v", c.spans, err, c.want)
		}
	}
	c := changed(t, baseCourse(t), "2026-02-04T22:00:00-06:00", "80")
	b, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var back Course
	if err := json.Unmarshal(b, &back); err != nil || !reflect.DeepEqual(c, back) {
		t.Errorf("%v: %+v", err, back)
	}
	if w := CompareOrders(c.Spans[0].Prescription, c.Spans[1].Prescription, limits(t)); len(w) != 0 {
		t.Errorf("60 to 80 is a third: %v", w)
	}
	twice := parse(t, minimal("UTC", "07:00", strings.Replace(nightFeed, "60}", "91}", 1)))
	if w := CompareOrders(c.Spans[0].Prescription, twice, limits(t)); len(w) != 1 {
		t.Errorf("60 to 91 is more than half: %v", w)
	}
}
