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
	return s
}

func (s State) caseText(e journal.Entry) State {
	t := e.CaseText
	return s.onCase(t.Case, func(c *Case) {
		c.Said, c.Words = t.Said, t.Words
		c.Texts++
		for _, code := range t.Codes {
			if !slices.Contains(c.Codes, code) {
				c.Codes = append(slices.Clone(c.Codes), code)
			}
		}
		if t.Protocol != "" {
			c.Protocol, c.Title, c.Answer = t.Protocol, t.Title, t.Answer
			for _, kind := range t.Hold {
				if !slices.Contains(c.Hold, kind) {
					c.Hold = append(slices.Clone(c.Hold), kind)
				}
			}
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
