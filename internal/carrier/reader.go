package carrier

import (
	"errors"
	"time"
)

// ErrNoNews marks a message that is to be believed and answered, but not kept:
// a receipt for a text that is still on its way.
var ErrNoNews = errors.New("nothing to keep")

// Post is what a gateway posted to our hook.
type Post struct {
	Query  string // of the address, as it came, without "?"
	Body   []byte // as it came; not kept
	Header func(name string) string
}

// Reader believes and reads what one kind of gateway posts.
type Reader interface {
	// ContentType is the one media type that is taken.
	ContentType() string
	// Read returns what came, with its ID. The error is one of ErrNoID,
	// ErrNoTimestamp, ErrNoSignature, ErrStale and ErrSignature if the message
	// is not believed, ErrNoNews if it is but holds nothing to keep, and
	// anything else if it is believed but cannot be read.
	Read(p Post, now time.Time) (Incoming, error)
	// Answer is what the gateway wants to hear when a message is stored: a
	// media type and a body. An empty type leaves it to the hook.
	Answer() (mediaType, body string)
}

// Signed reads the messages of a signed gateway (Standard Webhooks), which any
// of the secrets may have signed.
type Signed []Secret

// ContentType is JSON.
func (Signed) ContentType() string { return "application/json" }

// Answer is the hook's own.
func (Signed) Answer() (mediaType, body string) { return "", "" }

// Read verifies the signature over the body as it came and only then reads it.
func (s Signed) Read(p Post, now time.Time) (Incoming, error) {
	h := Headers{p.Header(HeaderID), p.Header(HeaderTimestamp), p.Header(HeaderSignature)}
	if err := Verify(s, h, p.Body, now); err != nil {
		return Incoming{}, err
	}
	in, err := ParseIncoming(p.Body)
	if err != nil {
		return Incoming{}, err
	}
	in.ID = h.ID
	return in, nil
}
