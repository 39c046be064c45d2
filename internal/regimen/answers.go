package regimen

import (
	"strconv"
	"time"

	"hearthline/internal/journal"
)

// Question is something that families ask and the regimen answers.
type Question string

// The questions: how much is left, when does it end, what is next, how much water.
const (
	HowMuchLeft  Question = "left"
	WhenEnds     Question = "ends"
	WhatNext     Question = "next"
	HowMuchWater Question = "water"
)

// Running returns the feed that runs, or should run, at t after what was
// reported; ok is false where none does.
func (p *Plan) Running(t time.Time, now Actual) (Occurrence, bool) {
	for _, at := range []time.Time{t, t.Add(-24 * time.Hour)} {
		for _, o := range p.FeedDayAs(at, now).Feeds {
			if !o.Done && !o.Start.After(t) && (o.End.After(t) || o.Paused) {
				return o, true
			}
		}
	}
	return Occurrence{}, false
}

// Left returns how much of a running occurrence has not gone in yet at t, by
// its rate; what a pause that is over cost is counted in its End.
func (o Occurrence) Left(t time.Time) journal.ML {
	if !t.Before(o.End) {
		return 0
	}
	left := halfUp(int64(o.End.Sub(t)/time.Second)*int64(o.RateMLPerH), 3_600_000)
	return min(journal.ML(left), o.ML)
}

// Answer answers a family's question from the regimen. It says only what is
// ordered and reported; it never advises.
func (p *Plan) Answer(q Question, t time.Time, now Actual, w Phrases) string {
	run, running := p.Running(t, now)
	switch q {
	case HowMuchLeft:
		if running {
			return w.Say("prompt.left", map[string]string{"feed": run.Feed, "ml": mlText(run.Left(t))})
		}
		return w.Say("prompt.not_running", nil)
	case WhenEnds:
		if running && !run.Paused {
			return w.Say("prompt.ends", map[string]string{"feed": run.Feed, "at": w.Clock(run.End)})
		}
		return w.Say("prompt.not_running", nil)
	case HowMuchWater:
		return p.water(t, now, w)
	}
	if at, feed, ok := p.nextFeed(t, now); ok {
		return w.Say(sayNext, map[string]string{"feed": feed, "at": w.Clock(at)})
	}
	return w.Say("prompt.no_next", nil)
}

// water says what the whole feed day has of water, given or still to come: the
// flushes, each one of a round of medicines among them, and the formula's own,
// where the label's share of water is known.
func (p *Plan) water(t time.Time, now Actual, w Phrases) string {
	d := p.FeedDayAs(t, now)
	n := 0
	for _, a := range d.Flushes {
		n++
		if a.Kind == ActMedication {
			n += a.Medicines // before, between and after: one more than there are medicines
		}
	}
	ml := func(key string, v journal.ML) string { return w.Say(key, map[string]string{"ml": mlText(v)}) }
	text := w.Say("prompt.water", map[string]string{"ml": mlText(d.Totals.FlushWaterML), "n": strconv.Itoa(n)}) + " "
	if p.orderAt(t.Unix()).p.Formula.WaterFraction == 0 {
		return text + w.Say("prompt.water_unknown", nil)
	}
	return text + ml("prompt.water_formula", journal.ML(halfUp(d.Totals.FormulaWaterUL, 1000))) +
		" " + ml("prompt.water_total", journal.ML(halfUp(d.Totals.WaterUL(), 1000)))
}

// nextFeed returns the next feed that begins after t.
func (p *Plan) nextFeed(t time.Time, now Actual) (time.Time, string, bool) {
	at := t
	for range horizon {
		d := p.FeedDayAs(at, now)
		for _, o := range d.Feeds {
			if o.Start.After(t) && !o.Done {
				return o.Start, o.Feed, true
			}
		}
		at = d.End
	}
	return time.Time{}, "", false
}

// AfterReport is what is said at once when a report has moved a feed: when it
// ends now, always with "keep the rate"; a question where by the report it
// should have ended already. ok is false where the occurrence is not known or over.
func (p *Plan) AfterReport(key string, t time.Time, now Actual, w Phrases) (text string, ask Ask, ok bool) {
	start, found := p.DayStart(keyDay(key))
	if !found {
		return "", Ask{}, false
	}
	for _, o := range p.FeedDayAs(start, now).Feeds {
		if o.Key != key || o.Done || o.Paused {
			continue
		}
		args := map[string]string{"feed": o.Feed, "at": w.Clock(o.End), "ml": mlText(o.ML)}
		switch {
		case !o.End.After(t):
			return w.Say(sayAskRunning, args), Ask{Kind: AskFeedEnd, Feed: o.Feed, Occurrence: key, ExpectedML: o.ML, ContainerML: p.FormulaAt(t).ContainerML}, true
		case o.Decide:
			return w.Say("prompt.moved_decide", args), Ask{}, true
		case o.ShortML > 0:
			return w.Say("prompt.moved_short", args), Ask{}, true
		}
		return w.Say("prompt.moved", args), Ask{}, true
	}
	return "", Ask{}, false
}

// Stands reports whether a prompt that was made earlier is still what the plan
// says after what was reported since; one that does not stand is withdrawn.
func (p *Plan) Stands(pr Prompt, now Actual) bool {
	next, ok := p.Next(pr.At.Add(-time.Second), now)
	return ok && next.At.Equal(pr.At) && next.Asks == pr.Asks
}

// MustDecide reports whether a person must say how an occurrence goes on: after
// what was reported it can neither end in time nor run on ([Occurrence.Decide]).
// The text of [Plan.AfterReport] then promises the family an answer, so that
// whoever sends it must also ask the team.
func (p *Plan) MustDecide(key string, now Actual) bool {
	start, found := p.DayStart(keyDay(key))
	if !found {
		return false
	}
	for _, o := range p.FeedDayAs(start, now).Feeds {
		if o.Key == key {
			return o.Decide && !o.Done && !o.Paused
		}
	}
	return false
}
