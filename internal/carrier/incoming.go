package carrier

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"hearthline/internal/journal"
)

// The kinds of what comes in, and what a receipt may say.
const (
	KindText    = "text"
	KindReceipt = "receipt"

	StatusDelivered   = "delivered"
	StatusUndelivered = "undelivered"
)

// Incoming is one thing that a carrier brings: a text, or what became of one of ours.
//
// As a body of the signed gateway it is a JSON object; fields that are not
// named here are passed over.
//
//	{"kind": "text", "from": "+12025550143", "to": "+12025550100",
//	 "body": "gave 150", "at": "2026-05-02T23:10:00Z", "attached": 0}
//	{"kind": "receipt", "text": "maple-17.4.0", "status": "undelivered",
//	 "why": "number not in service"}
//
// "from" is E.164, or a short code or sender name, which cannot be answered.
// "at" and "attached" (how many pictures or recordings came with the text) may
// be left out, as may "id": the hook takes the message's webhook-id.
type Incoming struct {
	ID       string
	Kind     string // KindText or KindReceipt
	From, To string
	Body     string
	At       time.Time // when the carrier says it was sent; zero if it does not
	Receipt  *Receipt  // of a receipt only
	Attached int
}

// Receipt is what became of a text of ours.
type Receipt struct {
	Text   journal.TextID
	Status string // StatusDelivered or StatusUndelivered
	Why    string // the carrier's reason, at most 200 characters, without numbers; may be empty
}

// Answerable reports whether a text can be sent back to whom it came from: not
// to a short code, nor to a sender that is a name.
func (in Incoming) Answerable() bool { return isE164(in.From) }

const (
	attachedMost = 99
	senderMost   = 20 // an SMPP 3.4 source_addr is at most 20 characters
)

// ParseIncoming reads the body of a signed message. Names of fields are exact,
// lower case. An error names the field, what was wrong and what would be
// right, and never quotes a text or a number.
//
// What a caregiver wrote is never a reason to refuse: any string is a body,
// the empty one too, and what is not Unicode in it becomes U+FFFD.
func ParseIncoming(body []byte) (Incoming, error) {
	f, err := readFields(body)
	if err != nil {
		return Incoming{}, err
	}
	in := Incoming{}
	f.text("id", &in.ID, false)
	f.text("kind", &in.Kind, true)
	if f.err != nil {
		return Incoming{}, f.err
	}
	switch in.Kind {
	case KindText:
		f.text("from", &in.From, true)
		f.text("to", &in.To, true)
		f.text("body", &in.Body, true)
		f.check("from", senderProblem(in.From))
		f.check("to", senderProblem(in.To))
		f.attached(&in.Attached)
	case KindReceipt:
		in.Receipt = &Receipt{}
		f.receipt(in.Receipt)
		f.text("from", &in.From, false)
		f.text("to", &in.To, false)
	default:
		return Incoming{}, fmt.Errorf(`field "kind": it must be "text" or "receipt"`)
	}
	f.at(&in.At)
	if f.err != nil {
		return Incoming{}, f.err
	}
	return in, nil
}

// fields reads one field after the other and keeps the first thing wrong.
type fields struct {
	raw map[string]json.RawMessage
	err error
}

func readFields(body []byte) (*fields, error) {
	f := &fields{}
	dec := json.NewDecoder(bytes.NewReader(body))
	if err := dec.Decode(&f.raw); err != nil {
		return nil, fmt.Errorf(`the body is not one JSON object, as in {"kind":"text","from":"+1...","to":"+1...","body":"..."}`)
	}
	if f.raw == nil {
		return nil, fmt.Errorf("the body is null; it must be a JSON object")
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, fmt.Errorf("something follows the JSON object; the body must hold one object and nothing else")
	}
	return f, nil
}

func (f *fields) fail(name, format string, args ...any) {
	if f.err == nil {
		f.err = fmt.Errorf("field %q: "+format, append([]any{name}, args...)...)
	}
}

func (f *fields) check(name, problem string) {
	if problem != "" {
		f.fail(name, "%s", problem)
	}
}

// text reads a string; null is as good as missing.
func (f *fields) text(name string, into *string, required bool) {
	raw, ok := f.raw[name]
	if !ok || string(raw) == "null" {
		if required {
			f.fail(name, "it is missing; it must be a string")
		}
		return
	}
	if json.Unmarshal(raw, into) != nil {
		f.fail(name, "it must be a string")
	}
}

func (f *fields) attached(into *int) {
	raw, ok := f.raw["attached"]
	if !ok || string(raw) == "null" {
		return
	}
	if json.Unmarshal(raw, into) != nil || *into < 0 || *into > attachedMost {
		f.fail("attached", "it must be a whole number from 0 to %d", attachedMost)
	}
}

func (f *fields) at(into *time.Time) {
	at := ""
	f.text("at", &at, false)
	if at == "" {
		return
	}
	t, err := time.Parse(time.RFC3339, at)
	if err != nil || t.Year() < 2000 || t.Year() > 2199 {
		f.fail("at", "it must be a time of RFC 3339 with its zone, as in 2026-05-02T23:10:00Z")
		return
	}
	*into = t.UTC()
}

func (f *fields) receipt(into *Receipt) {
	id := ""
	f.text("text", &id, true)
	f.text("status", &into.Status, true)
	f.text("why", &into.Why, false)
	if id == "" || len(id) > idMost {
		f.fail("text", "it must be the id under which the text was handed over, 1 to %d characters", idMost)
	}
	if into.Status != StatusDelivered && into.Status != StatusUndelivered {
		f.fail("status", `it must be "delivered" or "undelivered"; what is still on its way needs no receipt`)
	}
	into.Text, into.Why = journal.TextID(id), tame(into.Why)
}

// senderProblem says what is wrong with who sent or got a text; "" if nothing.
// A number written without its "+" is refused rather than kept: it would be
// looked for under a number that nobody has.
func senderProblem(s string) string {
	if isE164(s) {
		return ""
	}
	const right = `it must be E.164, "+" and 7 to 15 digits, or a short code or sender name`
	digits := len(s)
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return right
		}
		if s[i] < '0' || s[i] > '9' {
			digits--
		}
	}
	if s == "" || strings.TrimSpace(s) != s || len(s) > senderMost || digits > 6 || s[0] == '+' {
		return right
	}
	return ""
}

func isE164(s string) bool {
	if len(s) < 8 || len(s) > 16 || s[0] != '+' || s[1] == '0' {
		return false
	}
	for i := 1; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}
