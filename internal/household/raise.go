package household

import (
	"slices"
	"strings"
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
	p := d.place(v, c, by)
	told := c.to.Phone != "" && v.Advice != ""
	switch {
	case p.leads:
		if told {
			d.send(c.to, journal.ClassTrouble, d.tagged(d.advice(v, c.to, by)), "case", p.id, true)
		}
		d.begin(p.id, v, c)
	case p.fresh && told:
		// Something less urgent beside what the case is about: what the family was
		// told before goes on to hold, and only the time is said again.
		d.send(c.to, journal.ClassTrouble, d.tagged(d.added(p.id, c.to)), "case", p.id, true)
	}
}

// placed says where a verdict ended up.
type placed struct {
	id    journal.CaseID
	leads bool // the case is about this verdict now
	fresh bool // the case was not about it before
}

// place journals the verdict: in a case that is open for the same people, or
// as a new one.
func (d *decision) place(v protocol.Verdict, c cause, by time.Time) placed {
	for _, open := range slices.Backward(d.s.Cases) {
		if !open.Open() || open.GoesTo != v.GoesTo {
			continue
		}
		e := journal.CaseText{Case: open.ID, Text: c.text, Said: c.said, Codes: v.Codes, Words: c.words, Hold: v.Hold}
		p := placed{id: open.ID, fresh: v.Protocol != open.Protocol}
		if p.leads = p.fresh && v.Before(lead(open)); p.leads {
			e.Protocol, e.Title, e.Answer, e.Why = v.Protocol, v.Title, v.Answer, c.why
		}
		if at := journal.At(by); at < open.AnswerBy {
			e.AnswerBy = at
		}
		d.add(journal.Entry{Kind: journal.KindCaseText, CaseText: &e})
		return p
	}
	id := journal.CaseID(d.makeID())
	d.add(journal.Entry{Kind: journal.KindCaseOpened, CaseOpened: &journal.CaseOpened{
		Case: id, Protocol: v.Protocol, Codes: v.Codes, Title: v.Title, Answer: v.Answer, AnswerBy: journal.At(by),
		GoesTo: v.GoesTo, Text: c.text, Words: c.words, Said: c.said, Why: c.why, From: c.from.Ref,
		Unknown: d.s.Status == Stranger, Hold: v.Hold, LiftedUntil: d.liftUntil()}})
	return placed{id: id, leads: true, fresh: true}
}

// lead is what a case is about, to hold a verdict against.
func lead(c Case) protocol.Verdict {
	return protocol.Verdict{Protocol: c.Protocol, Answer: c.Answer, AnswerWithin: journal.Minutes((c.AnswerBy - c.Opened) / 60_000)}
}

// added says that the nurse has this text too, and by when she calls.
func (d *decision) added(id journal.CaseID, to Caregiver) string {
	c, _ := d.s.findCase(id)
	if c.Overdue {
		return d.say(to.Lang, "case.overdue", nil)
	}
	words := d.phrases(to.Lang)
	return d.say(to.Lang, "case.added", map[string]string{"by": words.Clock(c.AnswerBy.Time().In(d.zone()))})
}

// onDay says a time with its day: "10:00 AM tomorrow", "10:00 AM on Monday".
func (d *decision) onDay(words protocol.Phrases, t time.Time) string {
	local, today := t.In(d.zone()), d.now.In(d.zone())
	key := "day." + strings.ToLower(local.Format("Mon"))
	switch local.Format("2006-01-02") {
	case today.Format("2006-01-02"):
		key = "day.today"
	case today.AddDate(0, 0, 1).Format("2006-01-02"):
		key = "day.tomorrow"
	}
	return words.Say(key, map[string]string{"at": words.Clock(local)})
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
	args := map[string]string{"by": words.Clock(by.In(d.zone())), "by_day": d.onDay(words, by)}
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
