package carrier

import (
	"crypto/hmac"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"hash"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"hearthline/internal/journal"
)

// ContentType is that of a form.
func (f *Form) ContentType() string { return formType }

// Answer is as configured.
func (f *Form) Answer() (mediaType, body string) {
	if f.cfg.Answer.Type == "" {
		return "text/plain; charset=utf-8", f.cfg.Answer.Body
	}
	return f.cfg.Answer.Type, f.cfg.Answer.Body
}

// formFieldsMost bounds how many fields a form may have.
const formFieldsMost = 200

// Read verifies a posted form as configured and reads it.
func (f *Form) Read(p Post, now time.Time) (Incoming, error) {
	form, formErr := url.ParseQuery(string(p.Body))
	if formErr != nil || len(form) > formFieldsMost {
		form = nil // {fields} and {form} are then of nothing, and match nothing
	}
	if err := f.verify(p, form, now); err != nil {
		return Incoming{}, err
	}
	if form == nil {
		return Incoming{}, fmt.Errorf("the body is no form of at most %d fields, as in Sender=%%2B12025550143&Text=hi", formFieldsMost)
	}
	query, err := url.ParseQuery(p.Query)
	if err != nil {
		return Incoming{}, fmt.Errorf("the query of the address cannot be read; it must be name=value&name=value")
	}
	r := &formReader{form: form, query: query}
	if rc := f.cfg.Receipt; rc != nil && r.has(rc.Text) && r.has(rc.Status) {
		return f.readReceipt(r, rc)
	}
	return f.readText(r)
}

func (f *Form) readText(r *formReader) (Incoming, error) {
	c := &f.cfg.In
	in := Incoming{Kind: KindText, ID: r.get(c.ID, true), From: r.get(c.From, true), To: r.get(c.To, true), Body: r.get(c.Body, false)}
	if r.err != nil {
		return Incoming{}, r.err
	}
	if !r.has(c.Body) {
		return Incoming{}, fmt.Errorf("field %q: it is missing", c.Body)
	}
	if checkID(in.ID) != nil {
		return Incoming{}, fmt.Errorf("field %q: it must be 1 to %d characters of printable ASCII without spaces", c.ID, idMost)
	}
	in.Body = strings.ToValidUTF8(in.Body, "\uFFFD")
	for _, number := range []struct {
		field string
		value *string
	}{{c.From, &in.From}, {c.To, &in.To}} {
		if c.AddPlus && isE164("+"+*number.value) {
			*number.value = "+" + *number.value
		}
		if problem := senderProblem(*number.value); problem != "" {
			return Incoming{}, fmt.Errorf("field %q: %s", number.field, problem)
		}
	}
	if c.Attached != "" && r.get(c.Attached, false) != "" {
		n, err := strconv.Atoi(r.get(c.Attached, false))
		if err != nil || n < 0 || n > attachedMost {
			return Incoming{}, fmt.Errorf("field %q: it must be a whole number from 0 to %d", c.Attached, attachedMost)
		}
		in.Attached = n
	}
	if at := r.get(c.At, false); at != "" {
		t, err := parseAt(at, c.AtAs)
		if err != nil {
			return Incoming{}, fmt.Errorf("field %q: %w", c.At, err)
		}
		in.At = t
	}
	return in, r.err
}

func (f *Form) readReceipt(r *formReader, c *FormReceipt) (Incoming, error) {
	id, status, why := r.get(c.Text, true), r.get(c.Status, true), r.get(c.Why, false)
	if r.err != nil {
		return Incoming{}, r.err
	}
	if checkID(id) != nil {
		return Incoming{}, fmt.Errorf("field %q: it must be the id under which the text was handed over", c.Text)
	}
	receipt := &Receipt{Text: journal.TextID(id), Why: tame(why)}
	switch {
	case slices.Contains(c.Delivered, status):
		receipt.Status = StatusDelivered
	case slices.Contains(c.Undelivered, status):
		receipt.Status = StatusUndelivered
	case slices.Contains(c.Pending, status):
		return Incoming{}, ErrNoNews
	default:
		return Incoming{}, fmt.Errorf("field %q: its value is in none of the lists delivered, undelivered and pending of the configuration", c.Status)
	}
	// A gateway reports on one text several times; each outcome is one message.
	return Incoming{ID: "receipt/" + receipt.Status + "/" + id, Kind: KindReceipt, Receipt: receipt}, nil
}

// verify compares in constant time, as Verify does.
func (f *Form) verify(p Post, form url.Values, now time.Time) error {
	s := &f.cfg.Signature
	timestamp := ""
	if s.TimestampHeader != "" {
		timestamp = p.Header(s.TimestampHeader)
		seconds, err := strconv.ParseInt(timestamp, 10, 64)
		if err != nil || seconds < 0 {
			return fmt.Errorf("%w: header %s must hold the Unix time in whole seconds", ErrNoTimestamp, s.TimestampHeader)
		}
		if off := now.Unix() - seconds; off > int64(Tolerance/time.Second) || off < -int64(Tolerance/time.Second) {
			return fmt.Errorf("%w: it is %d s from our clock", ErrStale, off)
		}
	}
	coded, ok := strings.CutPrefix(p.Header(s.Header), s.Prefix)
	var given []byte
	var err error
	if s.Encoding == "hex" {
		given, err = hex.DecodeString(coded)
	} else {
		given, err = base64.StdEncoding.Strict().DecodeString(coded)
	}
	h := hmac.New(hashes[s.Algorithm], f.secret)
	if !ok || err != nil || len(given) != h.Size() {
		return fmt.Errorf("%w: header %s must hold %s of an %s", ErrNoSignature, s.Header, s.Encoding, strings.ToUpper(s.Algorithm))
	}
	for _, part := range splitTemplate(s.Base) {
		switch {
		case !part.name:
			h.Write([]byte(part.text))
		case part.text == "url":
			h.Write([]byte(s.PublicURL))
			if p.Query != "" {
				h.Write([]byte("?" + p.Query))
			}
		case part.text == "fields":
			for _, name := range sortedKeys(form) {
				for _, value := range form[name] {
					h.Write([]byte(name + value))
				}
			}
		case part.text == "form":
			h.Write([]byte(form.Encode()))
		case part.text == "body":
			h.Write(p.Body)
		case part.text == "timestamp":
			h.Write([]byte(timestamp))
		}
	}
	if !hmac.Equal(h.Sum(nil), given) {
		return fmt.Errorf("%w: it must be made with the secret agreed on, over %s", ErrSignature, s.Base)
	}
	return nil
}

// SHA-1 is here because gateways still sign with it; under HMAC it holds.
var hashes = map[string]func() hash.Hash{"hmac-sha1": sha1.New, "hmac-sha256": sha256.New, "hmac-sha512": sha512.New}

// formReader reads fields and keeps the first thing wrong.
type formReader struct {
	form, query url.Values
	err         error
}

func (r *formReader) has(name string) bool { return r.form.Has(name) || r.query.Has(name) }

// get returns a field of the form, or of the query if the form has none. A
// field that is there twice says two things at once and is refused.
func (r *formReader) get(name string, required bool) string {
	if name == "" {
		return ""
	}
	values := r.form[name]
	if values == nil {
		values = r.query[name]
	}
	switch {
	case len(values) > 1 && r.err == nil:
		r.err = fmt.Errorf("field %q: it is there %d times; it must be there once", name, len(values))
	case (len(values) == 0 || values[0] == "") && required && r.err == nil:
		r.err = fmt.Errorf("field %q: it is missing or empty", name)
	}
	if len(values) == 0 {
		return ""
	}
	return values[0]
}

func parseAt(s, as string) (time.Time, error) {
	var t time.Time
	var err error
	switch as {
	case "unix", "unix_ms":
		var n int64
		n, err = strconv.ParseInt(s, 10, 64)
		if t = time.UnixMilli(n); as == "unix" {
			t = time.Unix(n, 0)
		}
	default:
		t, err = time.Parse(time.RFC3339, s)
	}
	if t = t.UTC(); err != nil || t.Year() < 2000 || t.Year() > 2199 {
		return time.Time{}, fmt.Errorf("it must be a time written as %s", as)
	}
	return t, nil
}
