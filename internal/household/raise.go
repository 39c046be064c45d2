package household

import (
	"slices"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/protocol"
)

// cause is what a case is opened for.
type cause struct {
	text  journal.TextID
	said  string
	words []string
	why   string
	from  Caregiver // who wrote; none for silence or a failed send
	to    Caregiver // who is told; no phone: nobody
	facts protocol.Facts
}

// raise puts a verdict on the queue: added to a case that is open for the same
// people, or as a new one; and tells the caregiver in the same decision.
func (d *decision) raise(v protocol.Verdict, c cause) {
	by := d.answerBy(v)
	id, fresh := d.place(v, c, by)
	if !fresh {
		return
	}
	if c.to.Phone != "" && v.Advice != "" {
		d.send(c.to, journal.ClassTrouble, d.tagged(d.advice(v, c.to, by)), "case", id, true)
	}
	d.begin(id, v, c)
}

// place journals the case. fresh is false when the text only repeats what the
// case holds already, so that the family need not be told again.
func (d *decision) place(v protocol.Verdict, c cause, by time.Time) (id journal.CaseID, fresh bool) {
	for _, open := range slices.Backward(d.s.Cases) {
		if !open.Open() || open.GoesTo != v.GoesTo {
			continue
		}
		e := journal.CaseText{Case: open.ID, Text: c.text, Said: c.said, Codes: v.Codes, Words: c.words}
		lead := protocol.Verdict{Protocol: open.Protocol, Answer: open.Answer, AnswerWithin: journal.Minutes((open.AnswerBy - open.Opened) / 60_000)}
		fresh = v.Protocol != open.Protocol
		if fresh && v.Before(lead) {
			e.Protocol, e.Title, e.Answer, e.Hold = v.Protocol, v.Title, v.Answer, v.Hold
		}
		if at := journal.At(by); at < open.AnswerBy {
			e.AnswerBy = at
		}
		d.add(journal.Entry{Kind: journal.KindCaseText, CaseText: &e})
		return open.ID, fresh
	}
	id = journal.CaseID(d.makeID())
	d.add(journal.Entry{Kind: journal.KindCaseOpened, CaseOpened: &journal.CaseOpened{
		Case: id, Protocol: v.Protocol, Codes: v.Codes, Title: v.Title, Answer: v.Answer, AnswerBy: journal.At(by),
		GoesTo: v.GoesTo, Text: c.text, Words: c.words, Said: c.said, Why: c.why, From: c.from.Ref,
		Unknown: d.s.Status == Stranger, Hold: v.Hold, LiftedUntil: d.liftUntil()}})
	return id, true
}

// liftUntil is until when every step is prompted after a change, a case or a return.
func (d *decision) liftUntil() journal.Millis {
	if d.s.Status == Stranger {
		return 0
	}
	return journal.At(d.now.AddDate(0, 0, int(d.w.Limits.LiftDays)))
}

// answerBy turns a kind of answer into an instant.
func (d *decision) answerBy(v protocol.Verdict) time.Time {
	switch v.Answer {
	case journal.AnswerDayList:
		zone := d.w.Branch.Zone
		if zone == nil {
			zone = time.UTC
		}
		return d.w.Asking.DayList.after(d.now.In(zone))
	case journal.AnswerNext:
		latest := d.now.Add(d.w.Asking.BeforeNextAtMost.Minutes.Duration())
		plan, err := d.plan()
		if err != nil || plan == nil {
			return latest
		}
		if next, ok := plan.Next(d.now, d.s.Actual); ok && next.At.Before(latest) {
			return next.At
		}
		return latest
	default:
		within := max(v.AnswerWithin, d.w.Asking.AtOnceOverdue.Minutes)
		return d.now.Add(within.Duration())
	}
}

// advice fills the text that goes to the caregiver with the case.
func (d *decision) advice(v protocol.Verdict, to Caregiver, by time.Time) string {
	words := d.phrases(to.Lang)
	args := map[string]string{"by": words.Clock(by.In(d.zone()))}
	if p, ok := d.s.prescription(); ok {
		if p.GoTo != nil {
			args["go_to"] = p.GoTo.Place
		}
		if v.GapPlan && p.IfFeedStops != "" && words.Has(p.IfFeedStops) {
			args["plan"] = words.Say(p.IfFeedStops, d.args(args))
		}
	}
	return d.say(to.Lang, v.Advice, args)
}
