package web

import (
	"context"
	"time"

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// Desk is what the pages need of the engine. It is safe for concurrent use.
type Desk interface {
	// Queue returns the n open cases whose answer-by time is nearest, nearest
	// first, and how many are open in all.
	Queue(ctx context.Context, n int) ([]household.CaseView, int, error)
	// Household returns a household's state; its Version is 0 where there is none.
	Household(ctx context.Context, id journal.HouseholdID) (household.State, error)
	// Thread returns the newest n entries of a household's journal, oldest first.
	Thread(ctx context.Context, id journal.HouseholdID, n int) ([]journal.Entry, error)
	// Rows returns n households from place from on, those to look at first
	// leading, and how many there are in all.
	Rows(ctx context.Context, from, n int) ([]household.RowView, int, error)
	// Do carries out a person's act: Claim, Release, Write, Close, SetPause. A
	// *household.Refused says in words for that person why it was not carried out.
	Do(ctx context.Context, id journal.HouseholdID, click household.Event) error
	// Pulse is the state of the branch at a glance.
	Pulse(ctx context.Context) (store.Pulse, error)
	// Now is the service's own clock; the demo's may run fast or stand still.
	Now(ctx context.Context) (time.Time, error)
}

// Phrases are the texts of flows/ in one language: titles of cases, names of
// dispositions, names of symptom codes. Screens take clinical wording from nowhere else.
type Phrases interface {
	// Say returns the text of a key with its arguments put in.
	Say(key string, args map[string]string) string
	// Has reports whether the key has a text.
	Has(key string) bool
}

// Demo is what only the demo has: phones that are not real, and a clock that
// obeys. Nil in service.
type Demo struct {
	Phones PretendPhones
	Clock  DemoClock
	// Tries are texts to try first, by language; the pages offer them ready to send.
	Tries map[string][]string
}

// PretendPhones are the demo's phones. It is safe for concurrent use.
type PretendPhones interface {
	// List returns the phones in an order that never changes.
	List(ctx context.Context) ([]Phone, error)
	// Thread returns what a phone has sent and received, oldest first.
	Thread(ctx context.Context, number string) ([]PhoneText, error)
	// Type sends a text from a phone.
	Type(ctx context.Context, number, body string) error
}

// Phone is one pretend phone.
type Phone struct {
	Number     string // E.164
	Who        string // "Ana, mother"
	Households []journal.HouseholdID
	Lang       string
}

// PhoneText is one text on a pretend phone.
type PhoneText struct {
	At   time.Time
	Mine bool // typed on this phone
	Body string
}

// DemoClock is the demo's clock. It is safe for concurrent use.
type DemoClock interface {
	Now() time.Time
	// Speed is how many seconds pass in one: 1 is real time, 0 stands still.
	Speed() float64
	SetSpeed(x float64)
	// Skip goes forward at once.
	Skip(d time.Duration)
}
