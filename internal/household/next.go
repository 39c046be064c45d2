package household

import (
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// what a household waits for.
type waitKind int

const (
	waitNothing  waitKind = iota
	waitDay               // a feed day begins
	waitDayClose          // a feed day ends
	waitPrompt            // the regimen's next prompt
	waitAgain             // a question is asked a second time
	waitSilent            // a question is noted as unanswered
	waitOverdue           // a case's answer-by time
	waitTalk              // the answer to a question about a case
)

// wait is one thing that a household waits for.
type wait struct {
	at     journal.Millis
	kind   waitKind
	prompt journal.TextID
	id     journal.CaseID
	next   regimen.Prompt
}

func (w *wait) sooner(o wait) {
	if w.kind == waitNothing || o.at < w.at {
		*w = o
	}
}

// NextInstant is the least of all that the household waits for; 0 for nothing.
// There is no second timer anywhere.
func NextInstant(w *World, s State) (journal.Millis, error) {
	d := &decision{w: w, s: s}
	plan, err := d.plan()
	if err != nil {
		return 0, err
	}
	return d.waits(plan).at, nil
}

// waits returns what the household waits for first. Ties go to the order of
// the kinds: a day is opened before its first prompt is asked.
func (d *decision) waits(plan *regimen.Plan) wait {
	var first wait
	s := d.s
	if plan != nil && s.Status != Stranger && s.Status != Ended {
		if n := len(s.Days); n == 0 || s.Days[n-1].Closed {
			from := s.Asked
			if n > 0 {
				from = s.Days[n-1].End
			}
			first.sooner(wait{at: from, kind: waitDay})
		} else {
			first.sooner(wait{at: s.Days[n-1].End, kind: waitDayClose})
		}
		if p, ok := plan.Next(s.Asked.Time(), s.Actual); ok {
			first.sooner(wait{at: journal.At(p.At), kind: waitPrompt, next: p})
		}
	}
	for _, p := range s.Prompts {
		if p.Settled || p.Silent || p.Asks == "" {
			continue
		}
		silent := p.Sent + millis(d.w.Asking.SilentAfter.Minutes)
		again := p.Sent + millis(d.w.Asking.SecondAskAfter.Minutes)
		if p.AgainAt != 0 {
			again = p.AgainAt
			silent = max(silent, again+millis(d.w.Asking.SecondAskAfter.Minutes))
		}
		if !p.Again {
			first.sooner(wait{at: again, kind: waitAgain, prompt: p.ID})
		}
		first.sooner(wait{at: silent, kind: waitSilent, prompt: p.ID})
	}
	if s.Talk != nil && s.Talk.Open != "" {
		first.sooner(wait{at: s.Talk.Due, kind: waitTalk})
	}
	for _, c := range s.Cases {
		if c.Open() && !c.Overdue {
			first.sooner(wait{at: c.AnswerBy, kind: waitOverdue, id: c.ID})
		}
	}
	return first
}

func millis(m journal.Minutes) journal.Millis {
	return journal.Millis(m.Duration() / time.Millisecond)
}
