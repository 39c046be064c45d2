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
	case "feed_stop":
		s.Actual = s.Actual.Stop(act.Occurrence, instant(e), nil)
	case "feed_pause":
		if act.Minutes > 0 {
			s.Actual = s.Actual.AddPause(act.Occurrence, instant(e), journal.Minutes(act.Minutes))
		} else if act.Done {
			s.Actual = s.Actual.Pause(act.Occurrence, instant(e))
		} else {
			s.Actual = s.Actual.Resume(act.Occurrence, instant(e))
		}
	case "read_back":
		s.Actual = s.Actual.Answer(act.Occurrence, regimen.AskReadBack)
	case "bag_change":
		if act.Done {
			s.Actual = s.Actual.HungBag(instant(e))
		}
	}
	return s
}

// instant is when a reported act happened: as the text says, else when it came.
func instant(e journal.Entry) journal.Millis {
	if e.Done.When != 0 {
		return e.Done.When
	}
	return e.At
}
