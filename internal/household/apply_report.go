package household

import (
	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// fed notes a reported volume for what is planned of today. The ledger has it already.
func (s State) fed(e journal.Fed) State {
	ml := e.GivenML
	s.Actual = s.Actual.With(e.Occurrence, func(o *regimen.OccurrenceActual) { o.GivenML = &ml })
	s.Actual = s.Actual.Answer(e.Occurrence, regimen.AskFeedEnd)
	return s
}

// done notes a reported act. A start or a bag change moves what follows from
// it only where the text says when it was: an answer that comes an hour late
// does not mean a feed that began an hour late.
func (s State) done(e journal.Entry) State {
	act := e.Done
	switch act.What {
	case "feed_start":
		if !act.Done {
			return s
		}
		if act.When != 0 {
			s.Actual = s.Actual.Start(act.Occurrence, act.When)
		}
		s.Actual = s.Actual.Answer(act.Occurrence, regimen.AskFeedStart)
	case "bag_change":
		if act.Done {
			hung := act.When
			if hung == 0 {
				hung = e.At
			}
			s.Actual = s.Actual.HungBag(hung)
		}
	}
	return s
}
