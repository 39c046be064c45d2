package household

import (
	"slices"

	"hearthline/internal/journal"
)

func (s State) caseOpened(e journal.Entry) State {
	o := e.CaseOpened
	c := Case{ID: o.Case, Protocol: o.Protocol, Codes: o.Codes, Title: o.Title, Answer: o.Answer,
		Opened: e.At, AnswerBy: o.AnswerBy, GoesTo: o.GoesTo, Status: CaseOpen, From: o.From,
		Said: o.Said, Words: o.Words, Why: o.Why, Unknown: o.Unknown, Flows: e.Flows, Hold: o.Hold}
	if o.Text != "" {
		c.Texts = 1
	}
	s.Cases = append(slices.Clone(s.Cases), c)
	return s.lifted(o.LiftedUntil)
}

func (s State) caseText(e journal.Entry) State {
	t := e.CaseText
	return s.onCase(t.Case, func(c *Case) {
		if t.Text != "" {
			c.Texts++
		}
		c.Codes = union(c.Codes, t.Codes)
		c.Hold = union(c.Hold, t.Hold)
		if t.Protocol != "" {
			c.Protocol, c.Title, c.Answer = t.Protocol, t.Title, t.Answer
			c.Settled = false
			// What the case is about now is what its row says; a lesser text is in the thread.
			c.Said, c.Words, c.Why = t.Said, t.Words, t.Why
		}
		if t.AnswerBy != 0 && t.AnswerBy < c.AnswerBy { // a later text never makes the answer later
			c.AnswerBy = t.AnswerBy
			c.Overdue = false
		}
		if c.Status == CaseWaiting {
			c.Status = CaseOpen
		}
	})
}

func (s State) caseMoved(m journal.CaseMoved) State {
	s = s.onCase(m.Case, func(c *Case) {
		switch m.To {
		case "claimed":
			c.Status, c.Holder = CaseClaimed, m.Holder
		case "open":
			c.Status, c.Holder = CaseOpen, ""
		case "closed":
			c.Status, c.Disposition = CaseClosed, m.Disposition
		case "overdue":
			c.Overdue = true
		}
	})
	if m.To == "closed" && s.Talk != nil && s.Talk.Case == m.Case {
		s.Talk = nil
	}
	closed := 0
	for _, c := range s.Cases {
		if !c.Open() {
			closed++
		}
	}
	if closed > maxClosed {
		i := slices.IndexFunc(s.Cases, func(c Case) bool { return !c.Open() })
		s.Cases = slices.Delete(slices.Clone(s.Cases), i, i+1)
	}
	return s
}

// caseJudged notes what answers, or their absence, make of a case.
func (s State) caseJudged(j journal.CaseJudged) State {
	return s.onCase(j.Case, func(c *Case) {
		c.Protocol, c.Title, c.Answer = j.Protocol, j.Title, j.Answer
		if j.AnswerBy < c.AnswerBy || j.Settled {
			c.Overdue = c.Overdue && j.AnswerBy <= c.AnswerBy
			c.AnswerBy = j.AnswerBy
		}
		c.Settled = j.Settled
		c.Why = j.Why
		c.Hold = union(c.Hold, j.Hold)
	})
}

// talked keeps, or ends, the conversation about a case.
func (s State) talked(t journal.Talked) State {
	s.Talk = nil
	if len(t.Talk) > 0 {
		talk := &Talk{Case: t.Case}
		if unmarshal(t.Talk, &talk.Talk) == nil { // what cannot be read is no conversation; the case stands without it
			s.Talk = talk
		}
	}
	return s
}

// union adds what is not there yet, to a copy.
func union(have, more []string) []string {
	out := slices.Clone(have)
	for _, m := range more {
		if !slices.Contains(out, m) {
			out = append(out, m)
		}
	}
	return out
}

// onCase changes a copy of one case.
func (s State) onCase(id journal.CaseID, change func(*Case)) State {
	for i := range s.Cases {
		if s.Cases[i].ID == id {
			s.Cases = slices.Clone(s.Cases)
			change(&s.Cases[i])
			return s
		}
	}
	return s
}

func (s State) findCase(id journal.CaseID) (Case, bool) {
	for _, c := range s.Cases {
		if c.ID == id {
			return c, true
		}
	}
	return Case{}, false
}
