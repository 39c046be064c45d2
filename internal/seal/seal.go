package seal

import (
	"crypto/cipher"
	"errors"
	"fmt"
	"io"

	"golang.org/x/crypto/chacha20poly1305"
)

var (
	// ErrBroken: the piece is not one that was sealed for this place: cut short,
	// altered, or moved from another branch, household or field.
	ErrBroken = errors.New("not what was sealed here")
	// ErrUnknownKey: the piece was sealed under a master key that is not among ours.
	ErrUnknownKey = errors.New("sealed under a master key that is not among the configured ones")
)

// formatDerived is the format byte of pieces sealed under a key that is derived
// from a master key.
const formatDerived = 1

// Overhead is how many bytes longer than its content a piece is, besides the
// id of the master key.
const Overhead = 2 + chacha20poly1305.NonceSizeX + chacha20poly1305.Overhead

// Seal encrypts plain for a field of a household of a branch. Household "" is
// the service itself. It fails only if the source of randomness does, or if no
// field is named.
func (k *Keys) Seal(branch, household, field string, plain []byte) ([]byte, error) {
	if field == "" {
		return nil, errors.New("seal: no field named")
	}
	m := k.keys[0]
	aead, err := m.aead(branch, household)
	if err != nil {
		return nil, fmt.Errorf("seal %s: %w", field, err)
	}
	out := make([]byte, 0, len(m.id)+len(plain)+Overhead)
	out = append(out, formatDerived, byte(len(m.id)))
	out = append(out, m.id...)
	bound := joined(append([]byte(nil), out...), branch, household, field)
	nonce := out[len(out) : len(out)+chacha20poly1305.NonceSizeX]
	if err := k.fill(nonce); err != nil {
		return nil, fmt.Errorf("seal %s: nonce: %w", field, err)
	}
	return aead.Seal(out[:len(out)+len(nonce)], nonce, plain, bound), nil
}

// Open gives back what was sealed for the same field of the same household of
// the same branch: otherwise ErrBroken or ErrUnknownKey. The result is never
// nil without an error.
func (k *Keys) Open(branch, household, field string, sealed []byte) ([]byte, error) {
	id, rest, err := header(sealed)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", field, err)
	}
	for _, m := range k.keys {
		if m.id != id {
			continue
		}
		aead, err := m.aead(branch, household)
		if err != nil {
			return nil, fmt.Errorf("open %s: %w", field, err)
		}
		bound := joined(append([]byte(nil), sealed[:len(sealed)-len(rest)]...), branch, household, field)
		nonce, box := rest[:chacha20poly1305.NonceSizeX], rest[chacha20poly1305.NonceSizeX:]
		plain, err := aead.Open([]byte{}, nonce, box, bound)
		if err != nil {
			return nil, fmt.Errorf("open %s: %w", field, ErrBroken)
		}
		return plain, nil
	}
	return nil, fmt.Errorf("open %s: key %q: %w", field, id, ErrUnknownKey)
}

// KeyOf is the id of the master key under which a piece was sealed, for a
// change of keys to find what still needs it.
func KeyOf(sealed []byte) (string, error) {
	id, _, err := header(sealed)
	return id, err
}

// header reads the id of the master key; rest is nonce and box, long enough
// for both.
func header(sealed []byte) (id string, rest []byte, err error) {
	if len(sealed) < 2 {
		return "", nil, fmt.Errorf("%d bytes: %w", len(sealed), ErrBroken)
	}
	if sealed[0] != formatDerived {
		return "", nil, fmt.Errorf("format %d is not known to this version: %w", sealed[0], ErrBroken)
	}
	n := int(sealed[1])
	if len(sealed) < n+Overhead {
		return "", nil, fmt.Errorf("cut short: %w", ErrBroken)
	}
	id = string(sealed[2 : 2+n])
	if checkKeyID(id) != nil {
		return "", nil, fmt.Errorf("no key id: %w", ErrBroken)
	}
	return id, sealed[2+n:], nil
}

func (m master) aead(branch, household string) (cipher.AEAD, error) {
	key, err := expand(m.prk, "seal", branch, household)
	if err != nil {
		return nil, err
	}
	return chacha20poly1305.NewX(key)
}

func (k *Keys) fill(nonce []byte) error {
	k.lock.Lock()
	defer k.lock.Unlock()
	_, err := io.ReadFull(k.random, nonce)
	return err
}
