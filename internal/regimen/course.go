package regimen

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"hearthline/internal/journal"
)

// Course is the regimen in force: prescriptions with their first and last
// instants, in order. A gap between two spans is a pause (a hospital stay):
// nothing is prescribed in it. It is plain data and round-trips through JSON;
// its methods return a changed copy.
type Course struct {
	Spans []Span `json:"spans"`
}

// Why says what began a span.
type Why string

// What begins a span.
const (
	WhyStart  Why = "start"
	WhyChange Why = "change" // a changed order
	WhyStep   Why = "step"   // an advancement step that a nurse released
	WhyResume Why = "resume" // home again, on a confirmed or new order
	WhyTrip   Why = "trip"   // another time zone, the same order
)

// Span is one prescription from its first instant up to, not including, its last.
type Span struct {
	From         journal.Millis `json:"from,omitempty"`  // 0: since ever
	Until        journal.Millis `json:"until,omitempty"` // 0: until further notice
	Prescription *Prescription  `json:"prescription"`
	Why          Why            `json:"why,omitempty"`
	Step         int            `json:"step,omitempty"` // the advancement step, from 0
	// CheckedBy and CheckedAt: who compared the order with the prescriber's,
	// and when. A changed order cannot come into force without.
	CheckedBy string         `json:"checked_by,omitempty"`
	CheckedAt journal.Millis `json:"checked_at,omitempty"`
}

// Errors of a course, each when the named rule is broken.
var (
	// ErrUnchecked: a changed order has nobody who checked it.
	ErrUnchecked = errors.New("regimen: a changed order needs a second person who checked it against the prescriber's (checked_by, checked_at)")
	// ErrOrder: spans overlap or are out of order.
	ErrOrder = errors.New("regimen: the spans of a course must follow each other without overlap")
)

// NewCourse returns the course of one prescription from an instant on.
func NewCourse(p *Prescription, from time.Time) Course {
	return Course{Spans: []Span{{From: journal.At(from), Prescription: p, Why: WhyStart}}}
}

// Change puts s in force at its From; what ran until then ends there. A change
// in mid-feed carries the rest of the volume over to the feed of the same name.
func (c Course) Change(s Span) (Course, error) {
	if s.Why != WhyTrip && (s.CheckedBy == "" || s.CheckedAt == 0) {
		return c, ErrUnchecked
	}
	out := c.cut(s.From)
	s.Until = 0
	out.Spans = append(out.Spans, s)
	return out, nil
}

// Pause ends what is in force at t. Only Change, by a person's act, starts anything again.
func (c Course) Pause(t time.Time) Course { return c.cut(journal.At(t)) }

func (c Course) cut(t journal.Millis) Course {
	out := Course{}
	for _, s := range c.Spans {
		if s.From >= t {
			continue
		}
		if s.Until == 0 || s.Until > t {
			s.Until = t
		}
		out.Spans = append(out.Spans, s)
	}
	return out
}

// InForce returns the span in force at t; ok is false in a pause.
func (c Course) InForce(t time.Time) (s Span, ok bool) {
	m := journal.At(t)
	for _, s := range c.Spans {
		if s.From <= m && (s.Until == 0 || m < s.Until) {
			return s, true
		}
	}
	return Span{}, false
}

// NextStep returns the prescription of the step that follows the span in force
// at t, and when it is due. It comes into force only when a nurse releases it
// (by Change, with Why WhyStep); nothing advances by itself. ok is false where
// there is no plan or its goal is reached.
func (c Course) NextStep(t time.Time) (p *Prescription, due time.Time, ok bool) {
	s, in := c.InForce(t)
	if !in || s.Prescription.Advance == nil {
		return nil, time.Time{}, false
	}
	p, ok = s.Prescription.Stepped()
	if !ok {
		return nil, time.Time{}, false
	}
	return p, s.From.Time().Add(hours(s.Prescription.Advance.EveryH)), true
}

// Stepped returns p with its advancing feed one step further, never past the goal.
func (p *Prescription) Stepped() (*Prescription, bool) {
	a := p.Advance
	if a == nil {
		return nil, false
	}
	next := *p
	next.Feeds = slices.Clone(p.Feeds)
	for i := range next.Feeds {
		f := &next.Feeds[i]
		if f.Name != a.Feed {
			continue
		}
		if a.What == "rate_ml_per_h" {
			if f.RateMLPerH >= a.Goal {
				return nil, false
			}
			f.RateMLPerH = min(f.RateMLPerH+a.Step, a.Goal)
			// Volume follows where hours were ordered, hours where volume was.
			if f.Given[0] == "rate_ml_per_h" || f.Given[1] == "hours" {
				f.VolumeML = journal.ML(halfUp(int64(f.RateMLPerH)*int64(f.Hours), 1_000_000))
			} else {
				f.Hours = Milli(halfUp(int64(f.VolumeML)*1_000_000, int64(f.RateMLPerH)))
			}
			return &next, true
		}
		goal := journal.ML(a.Goal / 1000)
		if f.VolumeML >= goal {
			return nil, false
		}
		f.VolumeML = min(f.VolumeML+journal.ML(a.Step/1000), goal)
		if f.Given[1] == "hours" {
			f.RateMLPerH = Milli(halfUp(int64(f.VolumeML)*1_000_000, int64(f.Hours)))
		} else {
			f.Hours = Milli(halfUp(int64(f.VolumeML)*1_000_000, int64(f.RateMLPerH)))
		}
		return &next, true
	}
	return nil, false
}

func (c *Course) validate() error {
	for i, s := range c.Spans {
		if s.Prescription == nil {
			return fmt.Errorf("regimen: span %d of the course has no prescription", i)
		}
		if s.Until != 0 && s.Until <= s.From {
			return fmt.Errorf("%w: span %d ends at or before its start", ErrOrder, i)
		}
		if i > 0 && (c.Spans[i-1].Until == 0 || c.Spans[i-1].Until > s.From) {
			return fmt.Errorf("%w: span %d begins before span %d ends", ErrOrder, i, i-1)
		}
		if i > 0 && s.Why != WhyTrip && (s.CheckedBy == "" || s.CheckedAt == 0) {
			return fmt.Errorf("%w: span %d", ErrUnchecked, i)
		}
	}
	if len(c.Spans) == 0 {
		return ErrNoFeeds
	}
	return nil
}
