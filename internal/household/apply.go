package household

import (
	"slices"

	"hearthline/internal/journal"
	"hearthline/internal/ledger"
	"hearthline/internal/regimen"
)

// Apply folds one entry into a state and returns the new one; s is left as it
// was. It is total: an entry that points at something the state no longer
// keeps changes nothing but the count. Version is not touched: it counts
// commits, not entries.
func Apply(s State, e journal.Entry) State {
	s.V = StateVersion
	s.Entries++
	s.Latest = max(s.Latest, e.At)
	s.Days = ledger.Apply(s.Days, e)
	switch e.Kind {
	case journal.KindEnrolled:
		if s.Enrolled == 0 {
			s.Enrolled = e.At
		}
		return s.enrolled(*e.Enrolled)
	case journal.KindStranger:
		s.Status, s.Phone = Stranger, e.Stranger.Phone
	case journal.KindRegimen:
		if n := len(s.Regimens); n > 0 && s.Regimens[n-1].From >= e.Regimen.From {
			s.Regimens = s.Regimens[:n-1] // never in force: replaced at the same instant
		}
		s.Regimens = bounded(s.Regimens, InForce{From: e.Regimen.From, CheckedBy: e.Regimen.CheckedBy, Prescription: e.Regimen.Prescription}, maxRegimens)
		s.Asked = max(s.Asked, e.Regimen.From)
		s = s.lifted(e.Regimen.LiftedUntil)
	case journal.KindDayClosed:
		if n := len(s.Days); n >= 2 { // yesterday may still be answered; what is older no longer moves anything
			s.Actual = s.Actual.Prune(s.Days[n-2].Day)
		}
	case journal.KindPrompted:
		s.Asked = max(s.Asked, e.Prompted.At)
		s.Prompts = bounded(s.Prompts, Prompt{Prompted: *e.Prompted, Sent: e.At, Settled: e.Prompted.Asks == ""}, maxPrompts)
	case journal.KindNotAsked:
		s.Asked = max(s.Asked, e.NotAsked.At)
	case journal.KindAskedAgain:
		s = s.prompt(e.AskedAgain.Prompt, func(p *Prompt) { p.Again = true })
	case journal.KindUnanswered:
		s = s.prompt(e.Unanswered.Prompt, func(p *Prompt) { p.Silent = true })
	case journal.KindTextIn:
		return s.textIn(e)
	case journal.KindFed:
		s = s.fed(*e.Fed)
	case journal.KindDone:
		s = s.done(e)
	case journal.KindCaseOpened:
		return s.caseOpened(e)
	case journal.KindCaseText:
		return s.caseText(e)
	case journal.KindCaseMoved:
		return s.caseMoved(*e.CaseMoved)
	case journal.KindTextOut:
		s.Sent = bounded(s.Sent, Sent{ID: e.TextOut.ID, To: e.TextOut.To}, maxSent)
		if s.Status == Stranger && e.TextOut.Why == "help" {
			s.Helped = e.At
		}
	case journal.KindReceipt:
		if e.Receipt.Status == "delivered" {
			s.Undeliv = 0
		} else {
			s.Undeliv++
		}
	case journal.KindConsent:
		s.Caregivers = slices.Clone(s.Caregivers)
		for i := range s.Caregivers {
			if s.Caregivers[i].Ref == e.Consent.Caregiver {
				s.Caregivers[i].Stopped = e.Consent.Stopped
			}
		}
	case journal.KindPaused:
		s.Status, s.PausedAt = Active, 0
		if e.Paused.On {
			s.Status, s.PausedAt = Paused, e.At
		} else {
			s.Returned = e.At
		}
		s = s.lifted(e.Paused.LiftedUntil)
	case journal.KindLevel:
		s.Actual.Level = regimen.Level(e.Level.Level)
	case journal.KindTalked:
		return s.talked(*e.Talked)
	case journal.KindCaseJudged:
		return s.caseJudged(*e.CaseJudged)
	}
	return s
}

// lifted lets every step be prompted until an instant, whatever the family's level.
func (s State) lifted(until journal.Millis) State {
	s.Actual.LiftedUntil = max(s.Actual.LiftedUntil, until)
	return s
}

func (s State) enrolled(e journal.Enrolled) State {
	before := s.Caregivers
	s.Name, s.Tag, s.Zone = e.Name, e.Tag, e.Zone
	if s.Status != Paused {
		s.Status = Active
	}
	s.Caregivers = nil
	for _, c := range e.Caregivers {
		now := Caregiver{Caregiver: c}
		for _, old := range before { // who ended texts stays so, whatever list is read in again
			if old.Phone == c.Phone {
				now.Stopped = old.Stopped
			}
		}
		s.Caregivers = append(s.Caregivers, now)
	}
	return s
}

func (s State) textIn(e journal.Entry) State {
	s.LastText = e.TextIn.Got
	for _, code := range e.TextIn.Codes {
		s.Seen = bounded(s.Seen, Seen{Code: code, At: e.At}, maxSeen)
	}
	if at := e.TextIn.AgainAt; at != 0 {
		s = s.prompt(e.TextIn.Prompt, func(p *Prompt) { p.AgainAt, p.Again = at, false })
	}
	if e.TextIn.Prompt == "" || !e.TextIn.Settles {
		return s
	}
	return s.prompt(e.TextIn.Prompt, func(p *Prompt) {
		if !p.Settled {
			s.Days = ledger.Answered(s.Days, p.Day)
		}
		p.Settled = true
	})
}

// prompt changes a copy of one prompt.
func (s State) prompt(id journal.TextID, change func(*Prompt)) State {
	for i := range s.Prompts {
		if s.Prompts[i].ID == id {
			s.Prompts = slices.Clone(s.Prompts)
			change(&s.Prompts[i])
			return s
		}
	}
	return s
}

// bounded appends and drops the oldest beyond n.
func bounded[T any](list []T, v T, n int) []T {
	out := append(slices.Clone(list), v)
	if len(out) > n {
		out = out[len(out)-n:]
	}
	return out
}
