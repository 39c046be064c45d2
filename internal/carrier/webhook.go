package carrier

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"time"
)

// The headers of a signed message (Standard Webhooks 1.0.0, "Webhook metadata").
const (
	HeaderID        = "webhook-id"
	HeaderTimestamp = "webhook-timestamp"
	HeaderSignature = "webhook-signature"
)

// Tolerance is how far a message's time may be from ours, either way. The
// specification asks for "some allowable tolerance"; five minutes is what its
// reference libraries take.
const Tolerance = 5 * time.Minute

// Bounds of a secret's length and of an id. The first are the specification's
// ("between 24 bytes (192 bits) and 64 bytes (512 bits)"), the last is ours.
const (
	secretLeast, secretMost = 24, 64
	idMost                  = 256
)

// Why a message was not believed. Each is wrapped with what was found.
var (
	ErrNoID        = errors.New("webhook-id is missing or unusable")
	ErrNoTimestamp = errors.New("webhook-timestamp is missing or unusable")
	ErrNoSignature = errors.New("webhook-signature is missing or unusable")
	ErrStale       = errors.New("webhook-timestamp is more than 5 minutes from our clock")
	ErrSignature   = errors.New("webhook-signature does not match")
)

// Secret is a key shared with a gateway. It does not print: every way of
// writing it out gives "whsec_***".
type Secret struct{ key []byte }

const secretPrefix, secretHidden = "whsec_", "whsec_***"

// ParseSecret reads "whsec_" followed by the base64 of 24 to 64 random bytes.
func ParseSecret(s string) (Secret, error) {
	coded, ok := strings.CutPrefix(strings.TrimSpace(s), secretPrefix)
	if !ok {
		return Secret{}, errors.New(`a webhook secret begins with "whsec_", followed by the base64 of 24 to 64 random bytes; this one begins otherwise`)
	}
	key, err := base64.StdEncoding.Strict().DecodeString(coded)
	if err != nil || strings.ContainsAny(coded, "\r\n") {
		return Secret{}, errors.New(`what follows "whsec_" is not base64 with its padding; make one with: printf 'whsec_%s\n' "$(openssl rand -base64 32)"`)
	}
	if len(key) < secretLeast || len(key) > secretMost {
		return Secret{}, fmt.Errorf("the webhook secret holds %d bytes; it must hold %d to %d", len(key), secretLeast, secretMost)
	}
	return Secret{key}, nil
}

func (Secret) String() string               { return secretHidden }
func (Secret) GoString() string             { return secretHidden }
func (Secret) MarshalText() ([]byte, error) { return []byte(secretHidden), nil }
func (Secret) LogValue() slog.Value         { return slog.StringValue(secretHidden) }

// Format writes the mask whatever the verb, so that %+v and %x show nothing either.
func (Secret) Format(f fmt.State, _ rune) { _, _ = f.Write([]byte(secretHidden)) } // fmt gives a writer that does not fail

// mac is the signature of one message under one key.
//
// The three parts are joined by full stops and an id may hold some, so two
// messages could share a signed text: ("a", 1, "2.x") and ("a.1", 2, "x"). No
// body here can be read both ways: ours is a JSON object, begins with "{", and
// so what precedes it is never part of a body.
func (s Secret) mac(id, seconds string, body []byte) []byte {
	h := hmac.New(sha256.New, s.key)
	h.Write([]byte(id))
	h.Write([]byte{'.'})
	h.Write([]byte(seconds))
	h.Write([]byte{'.'})
	h.Write(body)
	return h.Sum(nil)
}

// Sign returns the webhook-signature header of a message: one "v1," signature
// for each secret, so that a receiver may change from one to the other. No
// secrets give "", which nothing verifies.
func Sign(secrets []Secret, id string, at time.Time, body []byte) string {
	seconds := strconv.FormatInt(at.Unix(), 10)
	signatures := make([]string, len(secrets))
	for i, s := range secrets {
		signatures[i] = "v1," + base64.StdEncoding.EncodeToString(s.mac(id, seconds, body))
	}
	return strings.Join(signatures, " ")
}

// Headers are the three headers of a signed message, as they came.
type Headers struct{ ID, Timestamp, Signature string }

// Verify believes a message if any of its "v1" signatures is by any of the
// secrets and its time is within Tolerance of now, to the second. It compares
// in constant time. The error is one of the five above, wrapped.
func Verify(secrets []Secret, h Headers, body []byte, now time.Time) error {
	if err := checkID(h.ID); err != nil {
		return err
	}
	// The digits are signed as they came; "+5", "05" or " 5" is nobody's Unix time.
	seconds, err := strconv.ParseInt(h.Timestamp, 10, 64)
	if err != nil || seconds < 0 || strconv.FormatInt(seconds, 10) != h.Timestamp {
		return fmt.Errorf("%w: it must be the Unix time in whole seconds, as in 1614265330", ErrNoTimestamp)
	}
	if off := now.Unix() - seconds; off > int64(Tolerance/time.Second) || off < -int64(Tolerance/time.Second) {
		return fmt.Errorf("%w: it is %d s from our clock; sign anew for every try", ErrStale, off)
	}
	given := signatures(h.Signature)
	if len(given) == 0 {
		return fmt.Errorf(`%w: it must hold "v1," and the base64 of an HMAC-SHA256 over id.timestamp.body`, ErrNoSignature)
	}
	good := false
	for _, s := range secrets {
		want := s.mac(h.ID, h.Timestamp, body)
		for _, g := range given {
			good = hmac.Equal(want, g) || good
		}
	}
	if !good {
		return fmt.Errorf("%w: it must be made with the secret agreed on, over id.timestamp.body as sent", ErrSignature)
	}
	return nil
}

func checkID(id string) error {
	if id == "" {
		return fmt.Errorf("%w: every message needs one, the same at every try", ErrNoID)
	}
	if len(id) > idMost {
		return fmt.Errorf("%w: it has %d characters, at most %d are taken", ErrNoID, len(id), idMost)
	}
	for i := range len(id) {
		if id[i] <= ' ' || id[i] > '~' {
			return fmt.Errorf("%w: only printable ASCII without spaces is taken", ErrNoID)
		}
	}
	return nil
}

// signatures are the decoded "v1" entries of a space-separated list; other
// versions, and what is no signature, are passed over, as the specification asks.
func signatures(header string) [][]byte {
	var given [][]byte
	for entry := range strings.FieldsSeq(header) {
		coded, ok := strings.CutPrefix(entry, "v1,")
		if !ok {
			continue
		}
		// Strict: the last character's spare bits would otherwise let several
		// writings of one signature pass.
		mac, err := base64.StdEncoding.Strict().DecodeString(coded)
		if err == nil && len(mac) == sha256.Size {
			given = append(given, mac)
		}
	}
	return given
}
