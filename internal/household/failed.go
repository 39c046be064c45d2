package household

import "hearthline/internal/journal"

// Failed is a text that could not be decided: it is put before a nurse as it
// came, unread, with nothing known of its household.
type Failed struct {
	From, Body, Why string
}

func (Failed) event() {}

func (d *decision) failed(ev Failed) {
	d.add(journal.Entry{Kind: journal.KindStranger, Stranger: &journal.Stranger{Phone: ev.From}})
	facts := d.facts()
	facts.Unknown = true
	facts.Triggers = []string{"decision_failed"}
	v, _ := d.w.Protocols.Judge(facts)
	d.raise(v, cause{said: ev.Body, why: "this text could not be handled; it is shown as it came", facts: facts})
}
