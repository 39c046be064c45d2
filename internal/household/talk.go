package household

import (
	"hearthline/internal/journal"
	"hearthline/internal/protocol"
)

// heard is a text that answered the question of a conversation.
type heard struct {
	about journal.CaseID
	talk  protocol.Talk
	turn  protocol.Turn
}

// hear tries a text as the answer to what a conversation asked; nil if there is
// none, or the text answers nothing.
func (d *decision) hear(t reading) *heard {
	if d.s.Talk == nil || t.shared {
		return nil
	}
	talk, turn := d.w.Protocols.Hear(d.s.Talk.Talk, d.facts(), d.s.withoutTag(t.body), d.at())
	if !turn.Understood {
		return nil
	}
	return &heard{d.s.Talk.Case, talk, turn}
}

// goOn carries out what an answer leads to: the case is judged anew, and the
// next question goes out, or the words that now hold.
func (d *decision) goOn(t reading, h *heard) {
	c, known := d.s.findCase(h.about)
	if !known || !c.Open() {
		d.add(journal.Entry{Kind: journal.KindTalked, Talked: &journal.Talked{Case: h.about}})
		d.acknowledge(t)
		return
	}
	d.add(journal.Entry{Kind: journal.KindCaseText, CaseText: &journal.CaseText{Case: c.ID, Text: t.id, Said: t.body}})
	d.talked(c.ID, h.talk, h.turn.Done)
	d.judged(c, h.turn.Verdict)
	to := d.sender(t)
	switch {
	case h.turn.Verdict.Answer == journal.AnswerEmergency && c.Answer != journal.AnswerEmergency:
		d.send(to, journal.ClassTrouble, d.tagged(d.advice(h.turn.Verdict, to, d.answerBy(h.turn.Verdict))), "case", c.ID, true)
	case h.turn.Ask != "":
		d.send(to, journal.ClassTrouble, d.tagged(d.say(to.Lang, h.turn.Ask, nil)), "case", c.ID, true)
	default:
		d.send(to, journal.ClassTrouble, d.tagged(d.say(to.Lang, "ack.done", nil)), "case", c.ID, true)
	}
}

// begin asks the first question about a case that has just been put on the
// queue: case first, questions second. A conversation about something more
// urgent goes on instead.
func (d *decision) begin(id journal.CaseID, v protocol.Verdict, c cause) {
	if d.s.Talk != nil && d.s.Talk.Open != "" && d.s.Talk.Case != id && !d.w.Protocols.GivesWay(d.s.Talk.Talk, d.facts(), v) {
		return
	}
	talk, turn, asks := d.w.Protocols.Begin(c.facts, v, d.at())
	if !asks {
		return
	}
	d.talked(id, talk, false)
	if turn.Ask != "" && c.to.Phone != "" {
		d.send(c.to, journal.ClassTrouble, d.tagged(d.say(c.to.Lang, turn.Ask, nil)), "case", id, true)
	}
}

// notAnswered goes on at the time by which an answer was waited for.
func (d *decision) notAnswered() {
	id := d.s.Talk.Case
	talk, turn := d.w.Protocols.Wait(d.s.Talk.Talk, d.facts(), d.at())
	d.talked(id, talk, turn.Done)
	if c, known := d.s.findCase(id); known && c.Open() {
		d.judged(c, turn.Verdict)
	}
}

// talked keeps the conversation. One that is done is kept too, without a
// question that waits: a late answer still finds its question.
func (d *decision) talked(id journal.CaseID, talk protocol.Talk, done bool) {
	if done {
		talk.Open, talk.Due = "", 0
	}
	d.add(journal.Entry{Kind: journal.KindTalked, Talked: &journal.Talked{Case: id, Talk: marshal(talk)}})
}

// judged writes down what a case has become, if it has become anything else.
func (d *decision) judged(c Case, v protocol.Verdict) {
	if v.Protocol == "" || (v.Protocol != c.Protocol && !v.Before(lead(c))) {
		return // the case is about something more urgent by now
	}
	by := journal.At(d.answerBy(v))
	raised := by < c.AnswerBy
	if !raised && !v.Settled && v.Protocol == c.Protocol {
		return
	}
	if !v.Settled {
		by = min(by, c.AnswerBy)
	}
	why := v.Why
	if v.Settled && by > c.AnswerBy {
		why = "an answer lets it wait: " + v.Why
	}
	d.add(journal.Entry{Kind: journal.KindCaseJudged, CaseJudged: &journal.CaseJudged{Case: c.ID, Protocol: v.Protocol, Title: v.Title,
		Answer: v.Answer, AnswerBy: by, Settled: v.Settled, Hold: v.Hold, Why: why}})
}
