package carrier

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"hearthline/internal/journal"
)

// taker takes everything, or answers as it is told.
type taker struct {
	at     []time.Time
	answer error
}

func (c *taker) Send(context.Context, Text) error {
	c.at = append(c.at, time.Now())
	return c.answer
}
func (c *taker) Idempotent() bool { return true }

func reminder(from string) Text {
	return Text{ID: "m.1.0", From: from, To: "+12025550143", Class: journal.ClassReminder}
}

func TestPaceNeverWaits(t *testing.T) {
	now := time.Unix(vectorSeconds, 0)
	c := &taker{}
	p, err := Pace(c, PaceConfig{PerSecond: 2, Burst: 8, Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	send := func(from string, class journal.Class) error {
		m := reminder(from)
		m.Class = class
		return p.Send(ctx, m)
	}
	count := func(from string, class journal.Class) (n int, last error) {
		for last == nil && n < 100 {
			if last = send(from, class); last == nil {
				n++
			}
		}
		return n, last
	}
	n, err := count("a", journal.ClassReminder)
	var busy *Busy
	if n != 6 || !errors.As(err, &busy) || busy.After != 500*time.Millisecond {
		t.Errorf("%d reminders at once, then %v; want 6 of a burst of 8, then 500ms", n, err)
	}
	if n, _ := count("a", journal.ClassTrouble); n != 2 {
		t.Errorf("%d answers to trouble got past the reminders, want the 2 kept for them", n)
	}
	if n, _ := count("b", journal.ClassReminder); n != 6 {
		t.Errorf("another number sends %d at once, want 6: lanes are apart", n)
	}
	now = now.Add(time.Second)
	if n, _ := count("a", journal.ClassReminder); n != 0 {
		t.Errorf("%d reminders left before what is kept was filled up again", n)
	}
	now = now.Add(500 * time.Millisecond)
	if n, _ := count("a", journal.ClassReminder); n != 1 {
		t.Errorf("%d reminders, want 1", n)
	}
}

func TestPaceWaitsItsTurn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &taker{}
		p, err := Pace(c, PaceConfig{PerSecond: 10, Burst: 1, Patience: time.Minute})
		if err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		for range 21 {
			if err := p.Send(context.Background(), reminder("a")); err != nil {
				t.Fatal(err)
			}
		}
		if took := time.Since(began); took != 2*time.Second {
			t.Errorf("21 texts at 10 a second took %v, want 2s", took)
		}
		ctx, cancel := context.WithTimeout(context.Background(), time.Millisecond)
		defer cancel()
		if err := p.Send(ctx, reminder("a")); OutcomeOf(err) != NotNow || len(c.at) != 21 {
			t.Errorf("time was up: %v, %d texts; want Busy, 21", err, len(c.at))
		}
	})
}

func TestPaceHeedsTheCarrier(t *testing.T) {
	now := time.Unix(vectorSeconds, 0)
	c := &taker{answer: &Busy{After: time.Minute}}
	p, err := Pace(c, PaceConfig{PerSecond: 100, Burst: 10, Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	first := p.Send(ctx, reminder("a"))
	c.answer = nil
	var busy *Busy
	if err := p.Send(ctx, reminder("a")); OutcomeOf(first) != NotNow || !errors.As(err, &busy) || busy.After != time.Minute || len(c.at) != 1 {
		t.Errorf("%v with %d texts handed over; want Busy for 1m, 1", err, len(c.at))
	}
	if err := p.Send(ctx, reminder("b")); err != nil {
		t.Errorf("another number: %v", err)
	}
	now = now.Add(time.Minute)
	if err := p.Send(ctx, reminder("a")); err != nil {
		t.Errorf("a minute later: %v", err)
	}
}

// Whatever comes when, no window of time sees more than rate and burst allow.
func TestPaceHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		per := float64(rapid.IntRange(1, 20).Draw(t, "per second"))
		burst := rapid.IntRange(1, 12).Draw(t, "burst")
		now := time.Unix(vectorSeconds, 0)
		p, err := Pace(&taker{}, PaceConfig{PerSecond: per, Burst: burst, Now: func() time.Time { return now }})
		if err != nil {
			t.Fatal(err)
		}
		var sent []time.Time
		for range rapid.IntRange(1, 200).Draw(t, "texts") {
			m := reminder("a")
			m.Class = journal.Class(rapid.IntRange(0, 2).Draw(t, "class"))
			err := p.Send(context.Background(), m)
			var busy *Busy
			switch {
			case err == nil:
				sent = append(sent, now)
			case !errors.As(err, &busy) || busy.After <= 0 || busy.After > time.Hour:
				t.Fatalf("Send = %v", err)
			case rapid.Bool().Draw(t, "as told"):
				now = now.Add(busy.After + time.Nanosecond)
				if err := p.Send(context.Background(), m); err != nil {
					t.Fatalf("as told, and still %v", err)
				}
				sent = append(sent, now)
			}
			now = now.Add(time.Duration(rapid.IntRange(0, 300).Draw(t, "ms")) * time.Millisecond)
		}
		for i := range sent {
			for j := i; j < len(sent); j++ {
				if most := float64(burst) + sent[j].Sub(sent[i]).Seconds()*per + 1e-6; float64(j-i+1) > most {
					t.Fatalf("%d texts within %v, at most %v", j-i+1, sent[j].Sub(sent[i]), most)
				}
			}
		}
	})
}

func TestPaceRefuses(t *testing.T) {
	for want, cfg := range map[string]PaceConfig{
		"per_second: 0": {Burst: 1}, "per_second: 1001": {PerSecond: 1001, Burst: 1}, "burst: 0": {PerSecond: 1},
		"burst: 1001": {PerSecond: 1, Burst: 1001}, "patience": {PerSecond: 1, Burst: 1, Patience: -1},
	} {
		if _, err := Pace(&taker{}, cfg); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("Pace(%+v) = %v, want %q", cfg, err, want)
		}
	}
	p, err := Pace(&taker{}, PaceConfig{PerSecond: 1, Burst: 1})
	if err != nil {
		t.Fatal(err)
	}
	for i := range lanesMost + 50 {
		_ = p.Send(context.Background(), reminder(fmt.Sprint(i))) // only the number of lanes matters
	}
	if len(p.lanes) > lanesMost+1 {
		t.Errorf("%d lanes kept", len(p.lanes))
	}
}
