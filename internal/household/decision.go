package household

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
)

// Decision is what follows from an event.
type Decision struct {
	Entries []journal.Entry
	Effects Effects
	// State is what Apply makes of the entries; given so that it need not be folded twice.
	State State
}

// Effects are what a decision does outside the household: texts that go into
// the outbox and texts that are taken out of it again.
type Effects struct {
	Send     []Text
	Withdraw []journal.TextID
}

// Text is a text for the outbox.
type Text struct {
	ID        journal.TextID
	To        string // E.164
	Class     journal.Class
	NotBefore journal.Millis
	Body      string
}

// Decide says what follows from an event that happened, or was seen, at now.
// It never fails on what a person typed. Its errors are: *Refused for an act
// of a person that cannot be carried out, and any other for a state that
// cannot be understood (a prescription that does not compile).
func Decide(w *World, s State, now time.Time, ev Event) (Decision, error) {
	d := &decision{w: w, s: s, now: now, by: "engine", version: s.Version + 1}
	var err error
	switch ev := ev.(type) {
	case Enrol:
		d.by = ev.By
		err = d.enrol(ev)
	case TextCame:
		err = d.text(ev)
	case ReceiptCame:
		d.receipt(ev)
	case Failed:
		d.failed(ev)
	case Tick:
		err = d.tick()
	case Claim:
		d.by = ev.By
		err = d.claim(ev)
	case Release:
		d.by = ev.By
		err = d.release(ev)
	case Write:
		d.by = ev.By
		err = d.write(ev)
	case Close:
		d.by = ev.By
		err = d.close(ev)
	case SetPause:
		d.by = ev.By
		err = d.setPause(ev)
	default:
		err = fmt.Errorf("household %s: event %T is not known", s.ID, ev)
	}
	if err = errors.Join(err, d.err); err != nil {
		return Decision{}, err
	}
	d.s.Version = d.version
	return Decision{Entries: d.entries, Effects: d.effects, State: d.s}, nil
}

// decision gathers what follows while it is being decided. s is always the
// state with the entries so far applied, so that each step sees the one before.
type decision struct {
	w       *World
	s       State
	now     time.Time
	by      string
	version int64
	made    int // ids made so far
	entries []journal.Entry
	effects Effects
	err     error // the first thing that could not be said
}

func (d *decision) at() journal.Millis { return journal.At(d.now) }

// add journals an entry and applies it.
func (d *decision) add(e journal.Entry) {
	e.V = journal.CodecVersion
	e.Seq = d.s.Entries + 1
	e.At = d.at()
	e.By = d.by
	e.Flows = d.w.Protocols.Version()
	d.entries = append(d.entries, e)
	d.s = Apply(d.s, e)
}

func (d *decision) makeID() string {
	id := journal.MakeID(d.s.ID, d.version, d.made)
	d.made++
	return id
}

func (d *decision) zone() *time.Location {
	if d.s.Zone != "" {
		if loc, err := time.LoadLocation(d.s.Zone); err == nil {
			return loc
		}
	}
	return d.w.Branch.Zone
}

func (d *decision) plan() (*regimen.Plan, error) {
	if len(d.s.Regimens) == 0 {
		return nil, nil
	}
	p, err := d.w.compile(d.s.Regimens)
	if err != nil {
		return nil, fmt.Errorf("household %s: its prescription cannot be compiled: %w", d.s.ID, err)
	}
	return p, nil
}

// say fills a message in a caregiver's language.
func (d *decision) say(lang, key string, args map[string]string) string {
	return d.phrases(lang).Say(key, d.args(args))
}

func (d *decision) phrases(lang string) protocol.Phrases {
	if lang == "" && len(d.w.Branch.Languages) > 0 {
		lang = d.w.Branch.Languages[0]
	}
	return d.w.Protocols.Phrases(lang)
}

// args adds what every message may name.
func (d *decision) args(more map[string]string) map[string]string {
	args := map[string]string{
		"service": d.w.Branch.Service, "call": d.w.Branch.Call, "emergency": d.w.Branch.Emergency,
	}
	if d.w.Branch.Crisis != "" {
		args["crisis"] = d.w.Branch.Crisis
	}
	for k, v := range more {
		args[k] = v
	}
	return args
}

// send journals a text and puts it in the outbox. A caregiver who ended texts
// gets none, except the one that confirms it (force).
func (d *decision) send(to Caregiver, class journal.Class, body, why string, about journal.CaseID, force bool) journal.TextID {
	if to.Phone == "" || (to.Stopped && !force) {
		return ""
	}
	if body == "" && d.err == nil {
		d.err = fmt.Errorf("household %s: the flows have no words for a %s text in %q", d.s.ID, why, to.Lang)
	}
	id := journal.TextID(d.makeID())
	d.add(journal.Entry{Kind: journal.KindTextOut, TextOut: &journal.TextOut{
		ID: id, To: to.Ref, Class: class, Body: body, Why: why, Case: about}})
	d.effects.Send = append(d.effects.Send, Text{ID: id, To: to.Phone, Class: class, NotBefore: d.at(), Body: body})
	return id
}

// tagged puts the household's tag before a text where one phone serves two.
func (d *decision) tagged(body string) string {
	if d.s.Tag == "" || body == "" {
		return body
	}
	return d.s.Tag + ": " + body
}

// first returns the caregiver who is asked: the first who has not ended texts.
func (s State) first() (Caregiver, bool) {
	for _, c := range s.Caregivers {
		if !c.Stopped {
			return c, true
		}
	}
	return Caregiver{}, false
}

func (s State) caregiver(ref journal.CaregiverRef) (Caregiver, bool) {
	for _, c := range s.Caregivers {
		if c.Ref == ref {
			return c, true
		}
	}
	return Caregiver{}, false
}

func (s State) byPhone(phone string) (Caregiver, bool) {
	for _, c := range s.Caregivers {
		if c.Phone == phone {
			return c, true
		}
	}
	return Caregiver{}, false
}

// marshal is for values that are ours and always marshal.
func marshal(v any) json.RawMessage {
	b, err := json.Marshal(v)
	if err != nil {
		panic("household: " + err.Error()) // a programmer's mistake: a type that JSON does not know
	}
	return b
}

func sameWord(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }
