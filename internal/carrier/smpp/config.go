package smpp

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"strings"
	"time"

	"hearthline/internal/carrier"
)

// Config says where the message centre is and how to speak to it.
type Config struct {
	Address    string      // host:port
	TLS        *tls.Config // nil: in the clear, for a closed network or a tunnel
	SystemID   string      // at most 15 characters
	Password   string      // at most 8, as the protocol has it
	SystemType string      // at most 12; often empty
	Run        string      // names this run of the program: ids of what comes in begin with it

	Window     int           // texts, or parts, that may be unanswered at once; 10 if 0
	AnswerIn   time.Duration // how long an answer may take; 10 s if 0
	Enquire    time.Duration // how often a silent link is tried; 30 s if 0
	PartWait   time.Duration // how long the parts of a long text are waited for; 10 s if 0
	AcceptIn   time.Duration // how long Accept may take; 5 s if 0
	ShortTON   byte          // type of number of a short code of ours: 3 or 6, as the centre wants
	AddPlus    bool          // its numbers of 7 digits or more are international, whatever their type says
	Latin1     bool          // data_coding 0 is Latin-1 in what comes in, not the GSM alphabet
	DecimalIDs bool          // receipts write in decimal the id that the answer wrote in hexadecimal

	// Accept stores what came; the centre is answered when it returns.
	Accept func(ctx context.Context, in carrier.Incoming) error
	// Note, if set, is told what happens on the link: one of the Note... words.
	Note func(what string)

	Dial   func(ctx context.Context, network, address string) (net.Conn, error) // nil: an ordinary one
	Jitter func() float64                                                       // 0..1, for backing off; nil: random
}

// What Note is told.
const (
	NoteBound          = "bound"
	NoteLost           = "lost"            // the link was bound and is not any more
	NoteRefused        = "bind_refused"    // the centre does not let us in
	NoteUnreachable    = "unreachable"     // no connection
	NoteNotStored      = "not_stored"      // Accept failed; the centre was asked to try again
	NotePieces         = "in_pieces"       // a long text was stored without all of its parts
	NoteReceiptUnknown = "receipt_unknown" // a receipt for no text of ours that is remembered
	NoteUnreadable     = "unreadable"      // what came in could not be read as anything
)

func (c *Config) check() error {
	if _, _, err := net.SplitHostPort(c.Address); err != nil {
		return errors.New(`smpp address: it must be host and port, as in "smsc.example:2775"`)
	}
	for _, f := range []struct {
		name, value string
		most        int
	}{{"system_id", c.SystemID, 15}, {"password", c.Password, 8}, {"system_type", c.SystemType, 12}} {
		if len(f.value) > f.most || strings.ContainsRune(f.value, 0) {
			return fmt.Errorf("smpp %s: it has %d characters; at most %d fit", f.name, len(f.value), f.most)
		}
	}
	if c.SystemID == "" {
		return errors.New("smpp system_id: it is missing")
	}
	if c.Run == "" {
		return errors.New("smpp run: it is missing; without it, texts after a restart would be taken for earlier ones")
	}
	if c.Accept == nil {
		return errors.New("smpp accept: it is missing; what comes in must be stored")
	}
	if c.Window < 0 || c.Window > 1000 {
		return fmt.Errorf("smpp window: %d; it must be 1 to 1000", c.Window)
	}
	if c.ShortTON > 6 {
		return fmt.Errorf("smpp short_ton: %d; it must be 0 to 6", c.ShortTON)
	}
	if c.Window == 0 {
		c.Window = 10
	}
	for _, f := range []struct {
		name string
		into *time.Duration
		or   time.Duration
	}{{"answer_in", &c.AnswerIn, 10 * time.Second}, {"enquire", &c.Enquire, 30 * time.Second}, {"part_wait", &c.PartWait, 10 * time.Second}, {"accept_in", &c.AcceptIn, 5 * time.Second}} {
		if *f.into < 0 {
			return fmt.Errorf("smpp %s: %s is below zero", f.name, *f.into)
		}
		if *f.into == 0 {
			*f.into = f.or
		}
	}
	if c.Note == nil {
		c.Note = func(string) {}
	}
	if c.Dial == nil {
		c.Dial = (&net.Dialer{Timeout: c.AnswerIn, KeepAlive: c.Enquire}).DialContext
	}
	if c.Jitter == nil {
		c.Jitter = rand.Float64
	}
	return nil
}
