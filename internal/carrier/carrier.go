package carrier

import (
	"context"
	"errors"
	"fmt"
	"time"

	"hearthline/internal/journal"
)

// Text is one text out, as it is handed to a carrier.
type Text struct {
	ID    journal.TextID // the idempotency key: the same text always has the same
	From  string         // our sending number, as the carrier knows it
	To    string         // E.164
	Body  string
	Class journal.Class
}

// Carrier is whatever carries texts. It is safe for concurrent use.
type Carrier interface {
	// Send hands one text over and returns nil once the carrier has it. A
	// *Refusal says that it will never take this text, a *Busy that it has not
	// taken it now. After any other error it is unknown whether it has the text.
	Send(ctx context.Context, t Text) error
	// Idempotent says whether a text handed over twice under one ID goes out once.
	Idempotent() bool
}

// Refusal is a carrier's lasting no to one text: sending it again is useless.
type Refusal struct {
	Why string // for a person: no phone number, no words of the text
}

func (r *Refusal) Error() string { return "the carrier refused the text: " + r.Why }

// Busy is a carrier's "not now". It has not taken the text: sending it again
// cannot double it.
type Busy struct {
	After time.Duration // how long it asks us to wait; 0: it did not say
	Why   string        // for a person
}

func (b *Busy) Error() string {
	if b.After > 0 {
		return fmt.Sprintf("the carrier did not take the text, try again in %s: %s", b.After, b.Why)
	}
	return "the carrier did not take the text: " + b.Why
}

// Outcome is what is known of a text after Send.
type Outcome int

// The outcomes of Send.
const (
	Taken   Outcome = iota // the carrier has it
	Refused                // it will never take it
	NotNow                 // it has not got it, and may take it later
	Unknown                // it may or may not have it
)

// OutcomeOf reads the error that Send returned.
func OutcomeOf(err error) Outcome {
	var refusal *Refusal
	var busy *Busy
	switch {
	case err == nil:
		return Taken
	case errors.As(err, &refusal):
		return Refused
	case errors.As(err, &busy):
		return NotNow
	}
	return Unknown
}
