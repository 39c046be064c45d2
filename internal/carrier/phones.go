package carrier

import (
	"container/list"
	"context"
	"fmt"
	"sync"
	"time"
)

// Bounds of the pretend phones: messages kept a phone, phones kept, ids remembered.
const (
	threadMost = 200
	phonesMost = 20_000
	knownMost  = 100_000
)

// PhoneText is one message on a pretend phone.
type PhoneText struct {
	ID       string
	Phone    string // whose phone it is
	Ours     bool   // we sent it; otherwise the phone's owner typed it
	From, To string
	Body     string
	Attached int // pictures or recordings that came with it
	At       time.Time
}

// PhoneSummary is one line of the list of pretend phones.
type PhoneSummary struct {
	Phone string
	Count int // messages kept
	Last  PhoneText
}

// Phones are the pretend phones of demo and simulator: a carrier that delivers
// into memory. It is safe for concurrent use, and bounded: the oldest messages
// of a phone, and the phones that were silent longest, are forgotten.
type Phones struct {
	run string
	now func() time.Time

	mu      sync.Mutex
	threads map[string]*list.Element // of *thread
	order   *list.List               // the latest used in front
	known   map[string]bool          // ids of ours that were delivered
	ids     []string                 // the same in order, a ring once full
	oldest  int
	typed   int64
	hear    map[int]func(PhoneText)
	next    int
}

type thread struct {
	phone string
	texts []PhoneText
}

// NewPhones makes phones without messages. run names this run of the program
// and begins the ids of what is typed, so that another run's never look the
// same; now gives each message its time.
func NewPhones(run string, now func() time.Time) *Phones {
	return &Phones{run: run, now: now, threads: map[string]*list.Element{}, order: list.New(),
		known: map[string]bool{}, hear: map[int]func(PhoneText){}}
}

// Idempotent is true: a text handed over twice is on the phone once.
func (p *Phones) Idempotent() bool { return true }

// Send puts a text on the phone that it goes to.
func (p *Phones) Send(ctx context.Context, t Text) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if t.To == "" || t.ID == "" {
		return &Refusal{Why: "it has no number to go to, or no id"}
	}
	p.mu.Lock()
	if p.known[string(t.ID)] {
		p.mu.Unlock()
		return nil
	}
	p.remember(string(t.ID))
	m := PhoneText{ID: string(t.ID), Phone: t.To, Ours: true, From: t.From, To: t.To, Body: t.Body, At: p.now()}
	p.tell(m)
	return nil
}

// Type is a caregiver typing: the message goes on the phone, and what comes
// back is what a carrier would bring to our hook.
func (p *Phones) Type(phone, to, body string, attached int) Incoming {
	p.mu.Lock()
	p.typed++
	m := PhoneText{ID: fmt.Sprintf("%s-%d", p.run, p.typed), Phone: phone, From: phone, To: to, Body: body, Attached: attached, At: p.now()}
	p.tell(m)
	return Incoming{ID: m.ID, Kind: KindText, From: phone, To: to, Body: body, At: m.At, Attached: attached}
}

// Thread returns the messages of a phone, oldest first.
func (p *Phones) Thread(phone string) []PhoneText {
	p.mu.Lock()
	defer p.mu.Unlock()
	e := p.threads[phone]
	if e == nil {
		return nil
	}
	return append([]PhoneText(nil), e.Value.(*thread).texts...)
}

// All lists the phones that have messages, the latest used first.
func (p *Phones) All() []PhoneSummary {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := make([]PhoneSummary, 0, p.order.Len())
	for e := p.order.Front(); e != nil; e = e.Next() {
		t := e.Value.(*thread)
		out = append(out, PhoneSummary{t.phone, len(t.texts), t.texts[len(t.texts)-1]})
	}
	return out
}

// Listen calls f for every message from now on, ours and typed, in the
// goroutine that sent it and after it can be read. f may use the phones.
func (p *Phones) Listen(f func(PhoneText)) (stop func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := p.next
	p.next++
	p.hear[n] = f
	return func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		delete(p.hear, n)
	}
}

// tell keeps a message, gives up the lock and calls the listeners.
func (p *Phones) tell(m PhoneText) {
	p.keep(m)
	hear := make([]func(PhoneText), 0, len(p.hear))
	for n := range p.next {
		if f := p.hear[n]; f != nil {
			hear = append(hear, f)
		}
	}
	p.mu.Unlock()
	for _, f := range hear {
		f(m)
	}
}

func (p *Phones) keep(m PhoneText) {
	e := p.threads[m.Phone]
	if e == nil {
		if p.order.Len() >= phonesMost {
			last := p.order.Back()
			delete(p.threads, last.Value.(*thread).phone)
			p.order.Remove(last)
		}
		e = p.order.PushFront(&thread{phone: m.Phone})
		p.threads[m.Phone] = e
	}
	p.order.MoveToFront(e)
	t := e.Value.(*thread)
	t.texts = append(t.texts, m)
	if over := len(t.texts) - threadMost; over > 0 {
		t.texts = append(t.texts[:0], t.texts[over:]...)
	}
}

func (p *Phones) remember(id string) {
	p.known[id] = true
	if len(p.ids) < knownMost {
		p.ids = append(p.ids, id)
		return
	}
	delete(p.known, p.ids[p.oldest])
	p.ids[p.oldest] = id
	p.oldest = (p.oldest + 1) % knownMost
}
