package household

import (
	"encoding/json"
	"slices"
	"strconv"

	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// maxSteps bounds what one decision catches up with; what is left stays due
// and is decided in the next round.
const maxSteps = 48

// tick decides on all that fell due, in the order in which it did.
func (d *decision) tick() error {
	plan, err := d.plan()
	if err != nil {
		return err
	}
	for range maxSteps {
		next := d.waits(plan)
		if next.kind == waitNothing || next.at > d.at() {
			return nil
		}
		switch next.kind {
		case waitDay:
			d.openDay(plan, next.at.Time(), next.at.Time())
		case waitDayClose:
			d.closeDay()
		case waitPrompt:
			d.prompt(plan, next.next)
		case waitAgain:
			d.askAgain(next.prompt)
		case waitSilent:
			d.silent(next.prompt)
		case waitTalk:
			d.notAnswered()
		case waitOverdue:
			d.overdue(next.id)
		}
	}
	return nil
}

// closeDay ends the newest feed day. A day in which something was asked and not
// a word came from anybody is silence: somebody must find out. Words are what
// counts here, not answers: a family that writes about something else is there.
func (d *decision) closeDay() {
	day := d.s.Days[len(d.s.Days)-1]
	d.add(journal.Entry{Kind: journal.KindDayClosed, DayClosed: &journal.DayClosed{Day: day.Day}})
	if day.Asked == 0 || d.s.LastText >= day.Start || d.s.Status != Active {
		return
	}
	facts := d.facts()
	facts.Triggers = []string{"silence"}
	days := d.s.silentDays()
	facts.SilentDays = &days
	if v, wrong := d.w.Protocols.Judge(facts); wrong {
		to, _ := d.s.first()
		d.raise(v, cause{why: "not a word in the feed day " + string(day.Day), to: to, facts: facts})
	}
}

// silentDays counts the closed feed days at the end in which something was
// asked and nobody wrote.
func (s State) silentDays() int {
	n := 0
	for _, day := range slices.Backward(s.Days) {
		if !day.Closed {
			continue
		}
		if day.Asked == 0 || s.LastText >= day.Start {
			break
		}
		n++
	}
	return n
}

// prompt sends a prompt, or journals why it is not sent.
func (d *decision) prompt(plan *regimen.Plan, p regimen.Prompt) {
	to, any := d.s.first()
	why := ""
	switch {
	case d.s.Status != Active:
		why = "paused"
	case !any:
		why = "nobody"
	case d.at()-journal.At(p.At) > millis(d.w.Asking.LateBeyondUse.Minutes):
		why = "late"
	case d.held(p):
		why = "held"
	}
	if why != "" {
		d.add(journal.Entry{Kind: journal.KindNotAsked, NotAsked: &journal.NotAsked{At: journal.At(p.At), Day: p.Day,
			Asks: string(p.Asks.Kind), Feed: p.Asks.Feed, Occurrence: p.Asks.Occurrence, Why: why}})
		return
	}
	e := journal.Prompted{ID: journal.TextID(d.makeID()), At: journal.At(p.At), Day: p.Day, Acts: marshal(p.Acts),
		Asks: string(p.Asks.Kind), Feed: p.Asks.Feed, Occurrence: p.Asks.Occurrence,
		ExpectedML: p.Asks.ExpectedML, ContainerML: p.Asks.ContainerML, To: []journal.CaregiverRef{to.Ref}}
	if p.ReadBack != nil && p.Asks.Kind == regimen.AskReadBack {
		e.ReadBack = int64(p.ReadBack.Rate)
	}
	for _, act := range p.Acts {
		if act.Kind == regimen.ActFlush {
			e.FlushML += act.ML
		}
	}
	d.add(journal.Entry{Kind: journal.KindPrompted, Prompted: &e})
	d.send(to, journal.ClassReminder, d.tagged(plan.Text(p, d.phrases(to.Lang))), "prompt", "", false)
}

// held reports whether an open case withholds any part of the prompt.
func (d *decision) held(p regimen.Prompt) bool {
	for _, c := range d.s.Cases {
		if !c.Open() {
			continue
		}
		if slices.Contains(c.Hold, string(p.Asks.Kind)) {
			return true
		}
		for _, act := range p.Acts {
			if slices.Contains(c.Hold, string(act.Kind)) {
				return true
			}
		}
	}
	return false
}

// askAgain asks a second time, once, everybody who answers for the household.
func (d *decision) askAgain(id journal.TextID) {
	i := slices.IndexFunc(d.s.Prompts, func(p Prompt) bool { return p.ID == id })
	p := d.s.Prompts[i]
	d.add(journal.Entry{Kind: journal.KindAskedAgain, AskedAgain: &journal.PromptRef{Prompt: id}})
	if d.s.Status != Active {
		return
	}
	for _, c := range d.s.Caregivers {
		args := map[string]string{"ml": strconv.FormatInt(int64(p.ExpectedML), 10), "at": d.phrases(c.Lang).Clock(p.At.Time().In(d.zone()))}
		d.send(c, journal.ClassReminder, d.tagged(d.say(c.Lang, "ask.again."+p.Asks, args)), "second_ask", "", false)
	}
}

// silent notes that a question was not answered. A changed rate that nobody read
// back from the pump is for the nurse: the old one may still be running.
func (d *decision) silent(id journal.TextID) {
	d.add(journal.Entry{Kind: journal.KindUnanswered, Unanswered: &journal.PromptRef{Prompt: id}})
	i := slices.IndexFunc(d.s.Prompts, func(p Prompt) bool { return p.ID == id })
	if d.s.Prompts[i].Asks != string(regimen.AskReadBack) || d.s.Status != Active {
		return
	}
	facts := d.facts()
	facts.Triggers = []string{"read_back"}
	if v, wrong := d.w.Protocols.Judge(facts); wrong {
		v.Advice = "" // nobody said a wrong number; the nurse rings
		d.raise(v, cause{why: "nobody said what the pump shows after the order was changed", facts: facts})
	}
}

// overdue marks a case whose answer-by time has passed, and tells the family
// whom to ring: a promise that was not kept must not look as if it were.
func (d *decision) overdue(id journal.CaseID) {
	c, _ := d.s.findCase(id)
	d.add(journal.Entry{Kind: journal.KindCaseMoved, CaseMoved: &journal.CaseMoved{Case: id, To: "overdue", Holder: c.Holder}})
	if c.Answer == journal.AnswerDayList || c.GoesTo != "nurse" {
		return // nobody promised the family a call by then
	}
	to, known := d.s.caregiver(c.From)
	if !known && d.s.Status == Stranger {
		to, known = Caregiver{Caregiver: journal.Caregiver{Phone: d.s.Phone}}, true
	}
	if known {
		d.send(to, journal.ClassTrouble, d.tagged(d.say(to.Lang, "case.overdue", nil)), "case", id, false)
	}
}

// receipt notes what became of a text out. Texts that do not arrive, twice in
// a row, are somebody's to look at: undelivered is not unanswered.
func (d *decision) receipt(ev ReceiptCame) {
	d.add(journal.Entry{Kind: journal.KindReceipt, Receipt: &journal.Receipt{Text: ev.Text, Status: ev.Status, Why: ev.Why}})
	if d.s.Undeliv != 2 || d.s.Status == Stranger {
		return
	}
	facts := d.facts()
	facts.Triggers = []string{"undelivered"}
	if v, wrong := d.w.Protocols.Judge(facts); wrong {
		d.raise(v, cause{why: "two texts in a row did not arrive", facts: facts})
	}
}

// enrol puts the household on file and opens the feed day it is in.
func (d *decision) enrol(ev Enrol) error {
	var p regimen.Prescription
	if err := json.Unmarshal(ev.Prescription, &p); err != nil {
		return refuse("the prescription cannot be read: %v", err)
	}
	fresh := d.s.Version == 0
	if fresh || !d.s.same(ev.Who) {
		d.add(journal.Entry{Kind: journal.KindEnrolled, Enrolled: &ev.Who})
	}
	if n := len(d.s.Regimens); n > 0 && string(d.s.Regimens[n-1].Prescription) == string(ev.Prescription) {
		if d.s.Status == Paused && ev.CheckedBy != "" {
			d.pause(false, "the order was confirmed by "+ev.CheckedBy, "")
		}
		return nil // the same order read in again is no change
	}
	if !fresh && (ev.CheckedBy == "" || "staff:"+ev.CheckedBy == ev.By) {
		return refuse("the order for %s has changed: it comes into force when a second person has checked it against the prescriber's (checked_by)", d.s.ID)
	}
	lift := journal.Millis(0)
	if !fresh {
		lift = d.liftUntil()
	}
	d.add(journal.Entry{Kind: journal.KindRegimen, Regimen: &journal.Regimen{From: d.at(), CheckedBy: ev.CheckedBy, LiftedUntil: lift, Prescription: ev.Prescription}})
	plan, err := d.plan()
	if err != nil {
		return refuse("%v", err)
	}
	from := d.now
	if !fresh && len(d.s.Days) > 0 && !d.s.Days[len(d.s.Days)-1].Closed {
		from = d.s.Days[len(d.s.Days)-1].Start.Time()
	}
	d.openDay(plan, d.now, from)
	return nil
}

// same reports whether who belongs to the household is on file already.
func (s State) same(who journal.Enrolled) bool {
	return s.Name == who.Name && s.Tag == who.Tag && s.Zone == who.Zone &&
		slices.EqualFunc(s.Caregivers, who.Caregivers, func(a Caregiver, b journal.Caregiver) bool { return a.Caregiver == b })
}
