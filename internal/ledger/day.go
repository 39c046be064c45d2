// Package ledger folds a household's journal entries into feed days: what was
// prescribed, what was reported given, what is known to be short, and what
// nobody reported. Pure.
//
// Unknown is not zero: a feed that nobody reported is neither given nor
// missed, and no sum here ever blends the two.
package ledger

import "hearthline/internal/journal"

// Fate says what is known of one prescribed feed.
type Fate string

// The fates of a feed. The zero value is NotReported.
const (
	NotReported Fate = ""         // nobody has said
	Reported    Fate = "reported" // a caregiver gave a volume
	NotAsked    Fate = "not_asked"
	Held        Fate = "held" // a nurse held it
)

// Feed is one prescribed feed of a feed day.
type Feed struct {
	Occurrence string         `json:"occurrence"`
	Feed       string         `json:"feed"`
	Start      journal.Millis `json:"start_ms"`
	End        journal.Millis `json:"end_ms"`
	ML         journal.ML     `json:"ml"`
	Fate       Fate           `json:"fate,omitempty"`
	GivenML    journal.ML     `json:"given_ml,omitempty"` // counts when Fate is Reported
}

// Day is one feed day of one household.
type Day struct {
	Day        journal.Day         `json:"day"`
	Start      journal.Millis      `json:"start_ms"`
	End        journal.Millis      `json:"end_ms"`
	Feeds      []Feed              `json:"feeds"`
	Formula    journal.Composition `json:"formula"`
	Flushes    Tally               `json:"flushes"`
	FlushML    journal.ML          `json:"flush_ml"`       // prescribed
	FlushGiven journal.ML          `json:"flush_given_ml"` // reported
	BagChanges Tally               `json:"bag_changes"`
	Asked      int                 `json:"asked,omitempty"`
	Answered   int                 `json:"answered,omitempty"`
	Closed     bool                `json:"closed,omitempty"`
}

// Tally counts acts: how many were prescribed, reported done, reported not
// done. What is left over was not reported.
type Tally struct {
	Due     int `json:"due"`
	Done    int `json:"done,omitempty"`
	NotDone int `json:"not_done,omitempty"`
}

// NotReported is how many of the acts nobody said anything of; never negative.
func (t Tally) NotReported() int { return max(0, t.Due-t.Done-t.NotDone) }

// Split is a prescribed amount and what is known of each part of it. Given,
// Short, NotReported, NotAsked, Held and ToCome add up to Prescribed; Over is
// what was given beyond it.
type Split struct {
	Prescribed  int64 `json:"prescribed"`
	Given       int64 `json:"given"`
	Short       int64 `json:"short"`
	NotReported int64 `json:"not_reported"`
	NotAsked    int64 `json:"not_asked"`
	Held        int64 `json:"held"`
	ToCome      int64 `json:"to_come,omitempty"` // feeds that had not ended yet, and were not reported
	Over        int64 `json:"over"`
}

// Add adds up two splits part by part.
func (s Split) Add(o Split) Split {
	return Split{s.Prescribed + o.Prescribed, s.Given + o.Given, s.Short + o.Short,
		s.NotReported + o.NotReported, s.NotAsked + o.NotAsked, s.Held + o.Held, s.ToCome + o.ToCome, s.Over + o.Over}
}

// Scale multiplies every part by n.
func (s Split) Scale(n int64) Split {
	return Split{s.Prescribed * n, s.Given * n, s.Short * n,
		s.NotReported * n, s.NotAsked * n, s.Held * n, s.ToCome * n, s.Over * n}
}

// GivenPercent is Given of Prescribed in whole percent, rounded half up; ok is
// false where nothing was prescribed.
func (s Split) GivenPercent() (percent int64, ok bool) {
	if s.Prescribed <= 0 {
		return 0, false
	}
	return journal.HalfUp(100*s.Given, s.Prescribed), true
}

func (f Feed) split() Split {
	ml := int64(f.ML)
	s := Split{Prescribed: ml}
	switch f.Fate {
	case Reported:
		given := int64(f.GivenML)
		s.Given = min(given, ml)
		s.Short = ml - s.Given
		s.Over = max(0, given-ml)
	case NotAsked:
		s.NotAsked = ml
	case Held:
		s.Held = ml
	default:
		s.NotReported = ml
	}
	return s
}

// Volume is the day's formula in mL.
func (d Day) Volume() Split {
	var sum Split
	for _, f := range d.Feeds {
		sum = sum.Add(f.split())
	}
	return sum
}

// VolumeAt is Volume as it stood at an instant: a feed that had not ended then
// and was not reported is still to come, not unreported.
func (d Day) VolumeAt(at journal.Millis) Split {
	var sum Split
	for _, f := range d.Feeds {
		s := f.split()
		if f.End > at {
			s.ToCome, s.NotReported = s.NotReported, 0
		}
		sum = sum.Add(s)
	}
	return sum
}

// MilliKcal is the day's energy in thousandths of a kilocalorie, exact.
func (d Day) MilliKcal() Split { return d.Volume().Scale(d.Formula.EnergyKcalPerL) }

// ProteinMicrograms is the day's protein in micrograms, exact.
func (d Day) ProteinMicrograms() Split { return d.Volume().Scale(d.Formula.ProteinMgPerL) }

// FormulaWaterMicrolitres is the free water in the day's formula, in
// microlitres, exact. Flush water is counted apart: FlushML and FlushGiven.
func (d Day) FormulaWaterMicrolitres() Split { return d.Volume().Scale(d.Formula.WaterMLPerL) }
