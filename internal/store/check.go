package store

import (
	"errors"
	"fmt"

	"hearthline/internal/journal"
)

// What a change may hold at most, so that no single write keeps every other
// writer of the branch waiting.
const (
	// MaxHouseholds bounds the households of one Change; twins are two.
	MaxHouseholds = 64
	// MaxItems bounds entries, cases, texts and phones of one Change together.
	MaxItems = 4096
	// maxExact is the largest whole number that a 64-bit float, as which sorted
	// sets keep their scores, holds exactly (IEEE 754: 53 bits).
	maxExact = 1 << 53
)

// ErrMalformed: the caller asked for something that cannot be meant, such as a
// household without an id. Nothing was written.
var ErrMalformed = errors.New("malformed")

// Check says what cannot be meant in c; both stores call it before they write.
func (c Change) Check() error {
	if c.Token == "" && len(c.Households) == 0 {
		return fmt.Errorf("%w change: neither an inbox item nor a household in it", ErrMalformed)
	}
	if len(c.Households) > MaxHouseholds {
		return fmt.Errorf("%w change: %d households, at most %d", ErrMalformed, len(c.Households), MaxHouseholds)
	}
	items := 0
	for i, h := range c.Households {
		for _, other := range c.Households[:i] {
			if other.ID == h.ID {
				return fmt.Errorf("%w change: household %q twice", ErrMalformed, h.ID)
			}
		}
		if err := h.check(); err != nil {
			return fmt.Errorf("%w change of household %q: %w", ErrMalformed, h.ID, err)
		}
		items += len(h.Entries) + len(h.Cases) + len(h.Send) + len(h.Withdraw) + len(h.AddPhones) + len(h.DropPhones)
	}
	if items > MaxItems {
		return fmt.Errorf("%w change: %d items, at most %d", ErrMalformed, items, MaxItems)
	}
	return nil
}

func (h HouseholdChange) check() error {
	switch {
	case h.ID == "":
		return errors.New("no id")
	case h.Was < 0 || h.Was >= maxExact:
		return fmt.Errorf("version %d", h.Was)
	case len(h.State) == 0:
		return errors.New("no state; a household is never emptied by a decision")
	case h.Rank < -maxExact || h.Rank > maxExact:
		return fmt.Errorf("rank %d is beyond 2^53", h.Rank)
	}
	if err := checkInstant("due", h.Due); err != nil {
		return err
	}
	for _, k := range h.Cases {
		if k.ID == "" {
			return errors.New("a case without an id")
		}
		if err := checkInstant("answer-by", k.AnswerBy); err != nil {
			return err
		}
	}
	for _, o := range h.Send {
		if err := checkText(o.ID, o.Class); err != nil {
			return err
		}
		if err := checkInstant("not-before", o.NotBefore); err != nil {
			return err
		}
	}
	for _, id := range h.Withdraw {
		if id == "" {
			return errors.New("a text without an id to withdraw")
		}
	}
	for _, phones := range [][]journal.PhoneKey{h.AddPhones, h.DropPhones} {
		for _, p := range phones {
			if p == "" {
				return errors.New("an empty phone key")
			}
		}
	}
	return nil
}

// Check says what cannot be meant in in.
func (in In) Check() error {
	if in.CarrierID == "" {
		return fmt.Errorf("%w inbox item: no carrier id, so a repeat could not be told from a new one", ErrMalformed)
	}
	return nil
}

// Check says what cannot be meant in s.
func (s Settlement) Check() error {
	if err := checkText(s.ID, s.Class); err != nil {
		return fmt.Errorf("%w settlement: %w", ErrMalformed, err)
	}
	if err := checkInstant("later", s.Later); err != nil {
		return fmt.Errorf("%w settlement of %q: %w", ErrMalformed, s.ID, err)
	}
	if s.Report != nil {
		return s.Report.Check()
	}
	return nil
}

// CheckClass says whether c is a class of texts.
func CheckClass(c journal.Class) error {
	if c < 0 || c >= journal.Classes {
		return fmt.Errorf("%w: class %d of %d", ErrMalformed, c, journal.Classes)
	}
	return nil
}

func checkText(id journal.TextID, c journal.Class) error {
	if id == "" {
		return errors.New("a text without an id")
	}
	if c < 0 || c >= journal.Classes {
		return fmt.Errorf("text %q: class %d of %d", id, c, journal.Classes)
	}
	return nil
}

func checkInstant(what string, m journal.Millis) error {
	if m < 0 || m > maxExact {
		return fmt.Errorf("%s %d is no instant after 1970", what, m)
	}
	return nil
}

// CheckBranch says what is wrong with a branch's id: it is part of every key,
// between braces, and of addresses.
func CheckBranch(id journal.BranchID) error {
	if len(id) == 0 || len(id) > 64 {
		return fmt.Errorf("%w branch id %q: 1 to 64 characters", ErrMalformed, id)
	}
	for _, c := range []byte(id) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return fmt.Errorf("%w branch id %q: only a to z, 0 to 9 and -", ErrMalformed, id)
		}
	}
	return nil
}

// CheckLease says what cannot be meant when an engine asks for the lease:
// without a holder it would be nobody's, and below a millisecond it would
// have run out before it was given.
func CheckLease(holder string, ttlMillis int64) error {
	if holder == "" || ttlMillis < 1 {
		return fmt.Errorf("%w lease: holder %q for %d ms", ErrMalformed, holder, ttlMillis)
	}
	return nil
}
