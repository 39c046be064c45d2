package seal

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"

	"hearthline/internal/journal"
)

// KeyBytes is the length of a master key: 256 bits.
const KeyBytes = 32

// maxKeys bounds how many master keys may be in use at once; a rotation needs two.
const maxKeys = 16

// maxKeyID bounds a master key's id, which every sealed piece carries.
const maxKeyID = 32

// ErrNoKeys: the text that should hold master keys holds none.
var ErrNoKeys = errors.New(`no master key: wants lines of "id:base64 of 32 bytes", newest first`)

// Keys holds the master keys: the newest seals, every one opens. It is safe for
// concurrent use. Printed or logged it shows the ids only.
type Keys struct {
	keys   []master // newest first, at least one
	random io.Reader
	lock   *sync.Mutex // guards random, which need not be safe for concurrent use
}

// master is one master key, after HKDF's first step; the key itself is not kept.
type master struct {
	id    string
	prk   []byte
	phone []byte // the key under which phones are hashed
}

// ParseKeys reads master keys, one a line, "id:base64", the newest first; the
// base64 is the standard one with padding, of 32 bytes ("openssl rand -base64 32"
// makes one). An id is 1 to 32 of a to z, 0 to 9 and -. Blank lines and lines
// that begin with # are passed over. An error names the line and never shows a key.
func ParseKeys(text string) (*Keys, error) {
	k := &Keys{random: rand.Reader, lock: new(sync.Mutex)}
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		id, encoded, ok := strings.Cut(line, ":")
		if !ok {
			return nil, fmt.Errorf(`master keys, line %d: no colon: wants "id:base64 of 32 bytes"`, i+1)
		}
		key, err := base64.StdEncoding.DecodeString(strings.TrimSpace(encoded))
		if err != nil {
			return nil, fmt.Errorf("master keys, line %d: not standard base64 with padding: %w", i+1, err)
		}
		if err := k.add(strings.TrimSpace(id), key); err != nil {
			return nil, fmt.Errorf("master keys, line %d: %w", i+1, err)
		}
	}
	if len(k.keys) == 0 {
		return nil, ErrNoKeys
	}
	return k, nil
}

// NewEphemeral returns keys that are gone with the process: for a demo.
func NewEphemeral() (*Keys, error) { return NewFrom(rand.Reader) }

// NewFrom takes one master key and then every nonce from random. With a seeded
// reader a simulation runs twice alike; in service random must be unpredictable.
func NewFrom(random io.Reader) (*Keys, error) {
	k := &Keys{random: random, lock: new(sync.Mutex)}
	key := make([]byte, KeyBytes)
	if _, err := io.ReadFull(random, key); err != nil {
		return nil, fmt.Errorf("make a master key: %w", err)
	}
	return k, k.add("ephemeral", key)
}

// WithRandom returns the same keys with nonces from another source.
func (k *Keys) WithRandom(random io.Reader) *Keys {
	return &Keys{keys: k.keys, random: random, lock: new(sync.Mutex)}
}

func (k *Keys) add(id string, key []byte) error {
	if err := checkKeyID(id); err != nil {
		return err
	}
	if len(key) != KeyBytes {
		return fmt.Errorf("key %q has %d bytes, wants %d", id, len(key), KeyBytes)
	}
	if len(k.keys) == maxKeys {
		return fmt.Errorf("more than %d keys", maxKeys)
	}
	for _, m := range k.keys {
		if m.id == id {
			return fmt.Errorf("key id %q a second time", id)
		}
	}
	prk, err := hkdf.Extract(sha256.New, key, []byte("hearthline"))
	if err != nil {
		return fmt.Errorf("key %q: %w", id, err)
	}
	phone, err := expand(prk, "phone")
	if err != nil {
		return fmt.Errorf("key %q: %w", id, err)
	}
	k.keys = append(k.keys, master{id: id, prk: prk, phone: phone})
	return nil
}

func checkKeyID(id string) error {
	if len(id) == 0 || len(id) > maxKeyID {
		return fmt.Errorf("a key id has 1 to %d characters, this one %d", maxKeyID, len(id))
	}
	for _, c := range []byte(id) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return errors.New("a key id is of a to z, 0 to 9 and - only")
		}
	}
	return nil
}

// expand is HKDF's second step for one purpose.
func expand(prk []byte, purpose string, of ...string) ([]byte, error) {
	return hkdf.Expand(sha256.New, prk, string(joined(nil, append([]string{purpose}, of...)...)), KeyBytes)
}

// joined appends each part after its length, so that no two lists of parts look alike.
func joined(to []byte, parts ...string) []byte {
	for _, p := range parts {
		to = binary.AppendUvarint(to, uint64(len(p)))
		to = append(to, p...)
	}
	return to
}

// Current is the id of the key that seals.
func (k *Keys) Current() string { return k.keys[0].id }

// PhoneKey is what a phone (E.164, "+12025550143") is found by in a branch:
// HMAC-SHA256 under a key of its own derived from the newest master key, cut
// to 128 bits (RFC 2104, section 5, allows half), in unpadded base64url.
func (k *Keys) PhoneKey(branch, e164 string) journal.PhoneKey {
	return k.keys[0].phoneKey(branch, e164)
}

// PhoneKeys is PhoneKey under every master key, newest first: while keys are
// being changed a phone may still be filed under an older one.
func (k *Keys) PhoneKeys(branch, e164 string) []journal.PhoneKey {
	out := make([]journal.PhoneKey, len(k.keys))
	for i, m := range k.keys {
		out[i] = m.phoneKey(branch, e164)
	}
	return out
}

func (m master) phoneKey(branch, e164 string) journal.PhoneKey {
	h := hmac.New(sha256.New, m.phone)
	h.Write(joined(nil, branch, e164)) // a hash never fails to write
	return journal.PhoneKey(base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:16]))
}

// String shows the ids, newest first, and nothing else.
func (k *Keys) String() string {
	ids := make([]string, len(k.keys))
	for i, m := range k.keys {
		ids[i] = m.id
	}
	return "keys " + strings.Join(ids, ", ")
}

// Format keeps every verb, %#v too, to what String shows.
func (k *Keys) Format(f fmt.State, _ rune) { _, _ = io.WriteString(f, k.String()) } // as fmt itself: nobody to tell

// LogValue keeps logs to what String shows.
func (k *Keys) LogValue() slog.Value { return slog.StringValue(k.String()) }
