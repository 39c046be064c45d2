package smpp

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"sync"
	"time"

	"hearthline/internal/carrier"
)

// inbound takes what comes in, one after the other in the order in which it
// came, so that of two texts from one phone the first is stored first.
type inbound struct {
	cfg   *Config
	ids   *sentIDs
	queue chan arrival
	join  joiner

	mu       sync.Mutex
	receipts []carrier.Receipt // settled outside of the queue
	wake     chan struct{}

	// Of the worker only.
	seen  map[string]*sighting
	order []string
}

// arrival is a deliver_sm and the link on which it is answered.
type arrival struct {
	s *session
	p pdu
}

// Bounds of what waits to be stored, of long texts without all their parts,
// and of what is remembered to know a text that comes again.
const (
	arrivalsMost  = 256
	longTextsMost = 200
	seenMost      = 10_000
)

func newInbound(cfg *Config, ids *sentIDs) *inbound {
	return &inbound{cfg: cfg, ids: ids, queue: make(chan arrival, arrivalsMost), join: joiner{wait: cfg.PartWait, most: longTextsMost},
		wake: make(chan struct{}, 1), seen: map[string]*sighting{}}
}

// take queues a deliver_sm. It does not block: what finds the queue full is to
// come again later.
func (in *inbound) take(s *session, p pdu) {
	select {
	case in.queue <- arrival{s, p}:
	default:
		reply(s, p.sequence, statusTryAgain)
	}
}

// receipt takes one that was settled by an answer, not by a deliver_sm.
func (in *inbound) receipt(r carrier.Receipt) {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.receipts = append(in.receipts, r)
	select {
	case in.wake <- struct{}{}:
	default: // awake already
	}
}

func reply(s *session, sequence, status uint32) bool {
	body := []byte{0} // message_id, unused (section 4.6.2)
	return s.send(pdu{deliverSM | responseBit, status, sequence, body}) == nil
}

// run stores what comes until ctx ends. What is then unanswered the centre brings again.
func (in *inbound) run(ctx context.Context) {
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case a := <-in.queue:
			in.handle(ctx, a)
		case <-in.wake:
			in.settled(ctx)
		case <-timer.C:
			in.settled(ctx)
		}
		late, next := in.join.due(time.Now())
		for _, t := range late {
			in.long(ctx, t)
		}
		if again := time.Now().Add(storeAgain); in.left() && (next.IsZero() || again.Before(next)) {
			next = again
		}
		if !next.IsZero() {
			timer.Reset(time.Until(next))
		}
	}
}

// storeAgain is how soon a receipt that could not be stored is tried again.
const storeAgain = 5 * time.Second

func (in *inbound) left() bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	return len(in.receipts) > 0
}

func (in *inbound) settled(ctx context.Context) {
	in.mu.Lock()
	receipts := in.receipts
	in.receipts = nil
	in.mu.Unlock()
	for _, r := range receipts {
		if in.store(ctx, receiptOf(r)) != nil {
			in.mu.Lock()
			in.receipts = append(in.receipts, r)
			in.mu.Unlock()
		}
	}
}

func receiptOf(r carrier.Receipt) carrier.Incoming {
	return carrier.Incoming{ID: "receipt/" + r.Status + "/" + string(r.Text), Kind: carrier.KindReceipt, Receipt: &r}
}

func (in *inbound) handle(ctx context.Context, a arrival) {
	m, err := readMessage(a.p.body)
	if err != nil {
		in.cfg.Note(NoteUnreadable)
		reply(a.s, a.p.sequence, statusInvalidLength)
		return
	}
	at, octets := unwrap(m)
	text, ok := fromCoding(m.coding, octets, in.cfg.Latin1)
	if m.esm&esmTypeMask == esmReceipt {
		in.handleReceipt(ctx, a, m, text)
		return
	}
	if m.esm&esmTypeMask != 0 {
		// Acknowledgements by the handset and the like, which are not asked for.
		in.cfg.Note(NoteUnreadable)
		reply(a.s, a.p.sequence, statusOK)
		return
	}
	from, to := in.number(m.from), in.number(m.to)
	answer := func(status uint32) bool { return reply(a.s, a.p.sequence, status) }
	if at.total == 1 {
		text := carrier.Incoming{Kind: carrier.KindText, From: from, To: to, Body: text}
		if !ok { // something that is no text came: it is looked at by a person, as a picture is
			text.Body, text.Attached = "", 1
		}
		in.text(ctx, text, hex.EncodeToString(octets), []func(uint32) bool{answer})
		return
	}
	for _, t := range in.join.add(longKey{from, to, at.ref, at.total}, at.part, text, answer, time.Now()) {
		in.long(ctx, t)
	}
}

func (in *inbound) long(ctx context.Context, t *longText) {
	for _, have := range t.have {
		if !have {
			in.cfg.Note(NotePieces)
			break
		}
	}
	in.text(ctx, carrier.Incoming{Kind: carrier.KindText, From: t.key.from, To: t.key.to, Body: t.body()},
		fmt.Sprint(t.key.ref, t.key.total, t.have, t.parts), t.answer)
}

func (in *inbound) handleReceipt(ctx context.Context, a arrival, m message, text string) {
	id, status, why, ok := readReceipt(m, text)
	if !ok {
		in.cfg.Note(NoteUnreadable)
		reply(a.s, a.p.sequence, statusOK)
		return
	}
	if status == "" { // no news
		reply(a.s, a.p.sequence, statusOK)
		return
	}
	r, known := in.ids.receipt(id, status, why)
	if !known {
		in.cfg.Note(NoteReceiptUnknown)
	}
	if r != nil && in.store(ctx, receiptOf(*r)) != nil {
		// Coming again, it would be no news, so it is kept here until it can be
		// stored. Lost with the process, it leaves the text unconfirmed.
		in.mu.Lock()
		in.receipts = append(in.receipts, *r)
		in.mu.Unlock()
	}
	reply(a.s, a.p.sequence, statusOK)
}

// sighting is a text that came: how often as a new one, and whether we know
// that the centre has our answer.
type sighting struct {
	times    int
	answered bool
}

// text stores a text and answers for each PDU that brought it.
//
// The centre gives no id. A text like one before is the same one, come again,
// if our answer to that could not be given; otherwise the caregiver wrote the
// same words twice, and means it.
func (in *inbound) text(ctx context.Context, t carrier.Incoming, content string, answer []func(uint32) bool) {
	sum := sha256.Sum256([]byte(t.From + "\x00" + t.To + "\x00" + content))
	key := hex.EncodeToString(sum[:12])
	was := in.seen[key]
	if was == nil {
		if len(in.order) >= seenMost {
			delete(in.seen, in.order[0])
			in.order = in.order[1:]
		}
		was = &sighting{answered: true}
		in.seen[key] = was
		in.order = append(in.order, key)
	}
	if was.answered {
		was.times++
	}
	t.ID = fmt.Sprintf("%s/%s/%d", in.cfg.Run, key, was.times)
	t.At = time.Now().UTC()
	status := uint32(statusOK)
	was.answered = false
	if in.store(ctx, t) != nil {
		status = statusTryAgain
	}
	heard := true
	for _, a := range answer {
		heard = a(status) && heard
	}
	was.answered = heard && status == statusOK
}

func (in *inbound) store(ctx context.Context, i carrier.Incoming) error {
	ctx, cancel := context.WithTimeout(ctx, in.cfg.AcceptIn)
	defer cancel()
	err := in.cfg.Accept(ctx, i)
	if err != nil {
		in.cfg.Note(NoteNotStored)
	}
	return err
}

// number writes an address as the rest of the house does. One that cannot be
// made E.164 is kept as it came: it cannot be answered, but its text is read.
func (in *inbound) number(a address) string {
	digits := len(a.number) > 0
	for _, r := range a.number {
		digits = digits && r >= '0' && r <= '9'
	}
	if digits && (a.ton == tonInternational || in.cfg.AddPlus && len(a.number) >= 7) {
		return "+" + a.number
	}
	return strings.ToValidUTF8(a.number, "?")
}
