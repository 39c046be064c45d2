package regimen

import (
	"slices"

	"hearthline/internal/journal"
)

// maxActual bounds the occurrences that an Actual remembers; the oldest go first.
const maxActual = 48

// Actual is what is known to have happened, beside what was prescribed. It is
// kept in a household's state: bounded, plain data, round-trips through JSON.
// Its methods return a changed copy and leave the receiver as it was.
type Actual struct {
	Feeds    []OccurrenceActual `json:"feeds,omitempty"`
	Answered []Answered         `json:"answered,omitempty"`
	// BagHung is when the bag in use was really hung; 0 where that is not known.
	BagHung journal.Millis `json:"bag_hung,omitempty"`
	// Level, where set, is what the family asked for by text.
	Level Level `json:"level,omitempty"`
	// LiftedUntil: until then every step is prompted, whatever the level (after
	// a change, a case, a return from hospital).
	LiftedUntil journal.Millis `json:"lifted_until,omitempty"`
}

// OccurrenceActual is what was reported about one occurrence of a feed.
type OccurrenceActual struct {
	Key     string         `json:"key"`
	Started journal.Millis `json:"started,omitempty"`
	Stopped journal.Millis `json:"stopped,omitempty"` // ended for good, whether all went in or not
	// Pauses are those that are over, at most maxPauses of them.
	Pauses []Pause `json:"pauses,omitempty"`
	// PausedAt is set while a pause lasts.
	PausedAt journal.Millis `json:"paused_at,omitempty"`
	// GivenML is the volume reported; nil is "not reported", never zero.
	GivenML *journal.ML `json:"given_ml,omitempty"`
	Skipped bool        `json:"skipped,omitempty"`
}

// Pause is a time over which a feed stood still.
type Pause struct {
	At  journal.Millis  `json:"at,omitempty"` // 0: not known, counted as at the start
	For journal.Minutes `json:"for"`
}

// maxPauses bounds the pauses of one occurrence; further ones are added to the last.
const maxPauses = 8

func (o *OccurrenceActual) addPause(p Pause) {
	if n := len(o.Pauses); n >= maxPauses {
		o.Pauses = slices.Clone(o.Pauses)
		o.Pauses[n-1].For += p.For
		return
	}
	o.Pauses = append(slices.Clone(o.Pauses), p)
}

// Answered says that what a prompt asked about an occurrence has been answered.
type Answered struct {
	Occurrence string  `json:"occurrence"`
	Kind       AskKind `json:"kind"`
}

// Of returns what is known about the occurrence, and whether anything is.
func (a Actual) Of(key string) (OccurrenceActual, bool) {
	for i := range a.Feeds {
		if a.Feeds[i].Key == key {
			return a.Feeds[i], true
		}
	}
	return OccurrenceActual{}, false
}

// With returns a copy of a in which change was applied to the occurrence.
func (a Actual) With(key string, change func(*OccurrenceActual)) Actual {
	a.Feeds = slices.Clone(a.Feeds)
	for i := range a.Feeds {
		if a.Feeds[i].Key == key {
			o := a.Feeds[i]
			change(&o)
			o.Key = key
			a.Feeds[i] = o
			return a
		}
	}
	o := OccurrenceActual{}
	change(&o)
	o.Key = key
	a.Feeds = append(a.Feeds, o)
	if len(a.Feeds) > maxActual {
		a.Feeds = slices.Delete(a.Feeds, 0, len(a.Feeds)-maxActual)
	}
	return a
}

// Start records that the occurrence really began at t.
func (a Actual) Start(key string, t journal.Millis) Actual {
	return a.With(key, func(o *OccurrenceActual) { o.Started = t })
}

// Stop records that the occurrence ended for good at t, with ml given (nil where not said).
func (a Actual) Stop(key string, t journal.Millis, ml *journal.ML) Actual {
	return a.With(key, func(o *OccurrenceActual) {
		if o.PausedAt != 0 {
			o.PausedAt = 0
		}
		o.Stopped = t
		if ml != nil {
			v := *ml
			o.GivenML = &v
		}
	})
}

// Pause records that the occurrence has been standing still since t.
func (a Actual) Pause(key string, t journal.Millis) Actual {
	return a.With(key, func(o *OccurrenceActual) {
		if o.PausedAt == 0 {
			o.PausedAt = t
		}
	})
}

// Resume ends a pause at t; part of a minute counts as a whole one.
func (a Actual) Resume(key string, t journal.Millis) Actual {
	return a.With(key, func(o *OccurrenceActual) {
		if o.PausedAt != 0 && t > o.PausedAt {
			o.addPause(Pause{At: o.PausedAt, For: journal.Minutes((t - o.PausedAt + 59_999) / 60_000)})
		}
		o.PausedAt = 0
	})
}

// AddPause records a pause that is over, told by its length; at is when it
// began, or 0 where that was not said.
func (a Actual) AddPause(key string, at journal.Millis, m journal.Minutes) Actual {
	return a.With(key, func(o *OccurrenceActual) { o.addPause(Pause{At: at, For: m}) })
}

// Skip records that the occurrence will not be given.
func (a Actual) Skip(key string) Actual {
	return a.With(key, func(o *OccurrenceActual) { o.Skipped = true })
}

// Answer records that what was asked has been answered and is not asked again.
func (a Actual) Answer(key string, kind AskKind) Actual {
	if a.IsAnswered(key, kind) {
		return a
	}
	a.Answered = append(slices.Clone(a.Answered), Answered{key, kind})
	if len(a.Answered) > 2*maxActual {
		a.Answered = slices.Delete(a.Answered, 0, len(a.Answered)-2*maxActual)
	}
	return a
}

// IsAnswered reports whether Answer was called for it.
func (a Actual) IsAnswered(key string, kind AskKind) bool {
	for i := range a.Answered {
		if a.Answered[i].Kind == kind && a.Answered[i].Occurrence == key {
			return true
		}
	}
	return false
}

// HungBag records when the bag in use was really hung. "Added more" is no such
// thing: topping up never restarts the clock, so nobody calls this for it.
func (a Actual) HungBag(t journal.Millis) Actual { a.BagHung = t; return a }

// Prune forgets occurrences of feed days before day.
func (a Actual) Prune(day journal.Day) Actual {
	a.Feeds = slices.DeleteFunc(slices.Clone(a.Feeds), func(o OccurrenceActual) bool { return keyDay(o.Key) < day })
	a.Answered = slices.DeleteFunc(slices.Clone(a.Answered), func(o Answered) bool { return keyDay(o.Occurrence) < day })
	if len(a.Feeds) == 0 {
		a.Feeds = nil
	}
	if len(a.Answered) == 0 {
		a.Answered = nil
	}
	return a
}

// keyDay returns the feed day of an occurrence's key.
func keyDay(key string) journal.Day {
	if len(key) < 10 {
		return ""
	}
	return journal.Day(key[:10])
}
