// Package store is what is kept, in the words of the house: an interface that
// two rooms fill, store/redis for service and store/mem for demo, simulation
// and tests. One conformance suite (store/storetest) runs on both.
//
// The store sees sealed bytes and never looks into them. Everything of one
// branch can be changed together; branches share nothing. All safety is in
// Commit, which writes everything that follows from one decision or nothing.
package store

import (
	"context"
	"errors"
	"time"

	"hearthline/internal/journal"
)

// The errors that callers tell apart. Each is wrapped with where it happened.
var (
	// ErrStale: a household's state is no longer the version that was decided on.
	ErrStale = errors.New("the household has changed since it was read")
	// ErrGone: the inbox item that was decided on is not in the inbox any more.
	ErrGone = errors.New("the inbox item was decided already")
)

// Store opens branches. It is safe for concurrent use, as is every Branch.
type Store interface {
	Branch(id journal.BranchID) Branch
	// Ping fails when the store cannot be trusted to keep what it is given.
	Ping(ctx context.Context) error
	Close() error
}

// Branch is all that is kept of one branch.
type Branch interface {
	// Now is the store's own time, to the millisecond, in UTC.
	Now(ctx context.Context) (time.Time, error)

	// Accept puts an item at the end of the inbox, unless an item with the same
	// carrier id came within RememberIDs before now; fresh says which. Items keep
	// the order in which they were accepted. The item is stored when Accept returns.
	Accept(ctx context.Context, in In, now journal.Millis) (fresh bool, err error)
	// Inbox returns up to n undecided items in order, from the first one after
	// the token given; "" begins at the start. It takes nothing away.
	Inbox(ctx context.Context, after Token, n int) ([]Item, error)
	// Due returns up to n households whose next instant is at or before until,
	// longest due first. It takes nothing away.
	Due(ctx context.Context, until journal.Millis, n int) ([]journal.HouseholdID, error)

	// Load returns a household's state; version 0 and no state if there is none.
	Load(ctx context.Context, id journal.HouseholdID) (Stored, error)
	// Find returns the households of a phone, in order of their codes.
	Find(ctx context.Context, phone journal.PhoneKey) ([]journal.HouseholdID, error)
	// Journal returns up to n entries from position from (0 is the first) on;
	// a negative from counts from the end.
	Journal(ctx context.Context, id journal.HouseholdID, from int64, n int) ([][]byte, error)
	// Commit writes all of a change or nothing: ErrStale, ErrGone.
	Commit(ctx context.Context, c Change) error

	// Take leases up to n texts of a class that may go out at now, oldest
	// not-before first; they are not taken again before until, which is then
	// their not-before. A store may give fewer than n.
	Take(ctx context.Context, class journal.Class, now, until journal.Millis, n int) ([]Out, error)
	// Settle ends, or puts off, a text that was taken. A text that is not in the
	// outbox any more (withdrawn, or settled before) is left alone, and nothing is reported.
	Settle(ctx context.Context, s Settlement) error

	// Queue returns the open cases, nearest answer-by first, n at most, and how many there are in all.
	Queue(ctx context.Context, n int) ([]Case, int, error)
	// Rows returns the households' summary rows, highest rank first, then by
	// code, from position from on, n at most, and how many there are in all.
	Rows(ctx context.Context, from, n int) ([]Row, int, error)

	// Hold takes or renews the branch's engine lease for holder until ttl from
	// now on the store's clock, and notes the time of the engine's last round (0:
	// what is noted stays); false if another holds it.
	Hold(ctx context.Context, holder string, ttl time.Duration, round journal.Millis) (bool, error)
	// Release gives the lease up, if holder has it.
	Release(ctx context.Context, holder string) error
	// Pulse says what moves, cheaply enough to be asked several times a second.
	Pulse(ctx context.Context) (Pulse, error)
}

// RememberIDs is how long a carrier's ids are remembered: longer than the 75.6
// hours over which the Standard Webhooks example schedule retries.
const RememberIDs = 4 * 24 * time.Hour

// Token names an inbox item; tokens sort as the items came.
type Token string

// In is one item for the inbox: a text, a receipt, a failed send.
type In struct {
	CarrierID string // remembered for RememberIDs; unique for the carrier, never empty
	Blob      []byte // sealed
}

// Item is one undecided item of the inbox.
type Item struct {
	Token Token
	Got   journal.Millis // when it was accepted, as the caller of Accept told the time
	Blob  []byte
}

// Stored is a household as it is kept.
type Stored struct {
	Version int64 // counts the household's commits, from 1; 0: there is none
	State   []byte
}

// Change is everything that follows from one decision.
type Change struct {
	Token      Token // the inbox item decided on; "" for a due instant or a click
	Households []HouseholdChange
}

// HouseholdChange is what a decision changes of one household. Its new version is Was+1.
type HouseholdChange struct {
	ID      journal.HouseholdID
	Was     int64 // the version decided on; 0: the household is new
	State   []byte
	Entries [][]byte       // appended to the journal
	Due     journal.Millis // next instant at which to decide; 0: none

	Cases      []CaseChange
	Send       []Out            // put in the outbox; an id that is there already is left as it is
	Withdraw   []journal.TextID // taken out of the outbox, before Send is put in
	AddPhones  []journal.PhoneKey
	DropPhones []journal.PhoneKey // before AddPhones

	Row  []byte // summary row; nil leaves it and its rank as they are, empty removes it
	Rank int64  // whom to look at first: higher is sooner
}

// CaseChange puts a case on the queue, changes it there, or (Row nil) takes it off.
type CaseChange struct {
	ID       journal.CaseID
	AnswerBy journal.Millis
	Row      []byte
}

// Case is a case on the queue.
type Case struct {
	ID       journal.CaseID
	AnswerBy journal.Millis
	Row      []byte
}

// Row is a household's summary row.
type Row struct {
	ID   journal.HouseholdID
	Rank int64
	Row  []byte
}

// Out is a text in the outbox.
type Out struct {
	ID        journal.TextID
	Class     journal.Class
	NotBefore journal.Millis
	Blob      []byte
}

// Settlement says what became of a text that was taken.
type Settlement struct {
	ID    journal.TextID
	Class journal.Class
	// Later, if not 0, leaves the text in the outbox and makes it wait until then.
	Later journal.Millis
	// Report, if not nil, goes to the inbox in the same step (the carrier gave no
	// answer, or the sender gave up).
	Report *In
	Now    journal.Millis
}

// Pulse is the state of the branch at a glance.
type Pulse struct {
	Revision int64          // grows with every commit
	Round    journal.Millis // when the engine last finished a round; 0: never
	Inbox    int            // undecided items
	Outbox   [journal.Classes]int
	Cases    int
}
