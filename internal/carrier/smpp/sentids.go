package smpp

import (
	"slices"
	"strconv"
	"strings"
	"sync"

	"hearthline/internal/carrier"
	"hearthline/internal/journal"
)

// sent is a text of ours, of which each part has an id of the centre's.
type sent struct {
	id        journal.TextID
	parts     int
	delivered map[string]bool // by the centre's id
	failed    bool
}

// sentIDs remembers which text of ours a centre's id stands for, in memory
// only: after a restart, receipts for earlier texts are of no text known, and
// those texts stay unconfirmed.
type sentIDs struct {
	decimal bool // receipts write decimally what answers wrote in hexadecimal

	mu    sync.Mutex
	texts map[string]*sent
	order []string
	next  int

	// early are receipts that overtook the answer with their id.
	early map[string]earlyReceipt
	queue []string
}

type earlyReceipt struct{ status, why string }

// Bounds of what is remembered.
const (
	sentMost  = 100_000
	earlyMost = 1000
)

func newSentIDs(decimal bool) *sentIDs {
	return &sentIDs{decimal: decimal, texts: map[string]*sent{}, early: map[string]earlyReceipt{}}
}

// key writes an id as receipts write it.
func (s *sentIDs) key(answered string) string {
	if s.decimal {
		if n, err := strconv.ParseUint(answered, 16, 64); err == nil {
			return strconv.FormatUint(n, 10)
		}
	}
	return answered
}

// answered keeps the id that a submit_sm_resp gives (section 4.4.2). It is
// called for late answers too, so that their receipts are known, and returns
// the receipt that came before its answer and is settled by it.
func (s *sentIDs) answered(t *ticket, p pdu) *carrier.Receipt {
	if t.text == nil || p.command != submitSM|responseBit || p.status != statusOK {
		return nil
	}
	r := &fieldReader{b: p.body}
	id := s.key(r.text(65))
	if r.err != nil || id == "" {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.order) < sentMost {
		s.order = append(s.order, id)
	} else {
		delete(s.texts, s.order[s.next])
		s.order[s.next] = id
		s.next = (s.next + 1) % sentMost
	}
	s.texts[id] = t.text
	if early, ok := s.early[id]; ok {
		delete(s.early, id)
		s.queue = slices.DeleteFunc(s.queue, func(q string) bool { return q == id })
		return t.text.settle(id, early.status, early.why)
	}
	return nil
}

// receipt says what is new of a text by a receipt for one of its parts: it is
// delivered once every part is, and undelivered as soon as one is not. known
// is false for an id of no text remembered; the receipt is then held for a
// while, in case its answer is still on its way.
func (s *sentIDs) receipt(id, status, why string) (out *carrier.Receipt, known bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	id = strings.TrimSpace(id)
	if s.decimal {
		if trimmed := strings.TrimLeft(id, "0"); trimmed != "" {
			id = trimmed
		}
	}
	t := s.texts[id]
	if t == nil {
		if _, held := s.early[id]; !held {
			if len(s.queue) >= earlyMost {
				delete(s.early, s.queue[0])
				s.queue = s.queue[1:]
			}
			s.queue = append(s.queue, id)
		}
		s.early[id] = earlyReceipt{status, why}
		return nil, false
	}
	return t.settle(id, status, why), true
}

// settle takes one part's outcome; nil if the text's is not settled by it, or was before.
func (t *sent) settle(id, status, why string) *carrier.Receipt {
	if t.failed {
		return nil
	}
	if status == carrier.StatusUndelivered {
		t.failed = true
		return &carrier.Receipt{Text: t.id, Status: status, Why: why}
	}
	if t.delivered == nil {
		t.delivered = map[string]bool{}
	}
	if t.delivered[id] {
		return nil
	}
	if t.delivered[id] = true; len(t.delivered) < t.parts {
		return nil
	}
	return &carrier.Receipt{Text: t.id, Status: status}
}
