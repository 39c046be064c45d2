package household

import (
	"encoding/json"
	"fmt"

	"hearthline/internal/journal"
)

// Event is one thing that happened to a household; Decide says what follows.
type Event interface{ event() }

// Enrol puts a household on file, or changes who belongs to it and what is
// prescribed from now on. The prescription was checked before: it is as the
// regimen room writes it. A changed order needs CheckedBy: a second person who
// compared it with the prescriber's.
type Enrol struct {
	By           string
	CheckedBy    string
	Who          journal.Enrolled
	Prescription json.RawMessage
}

// TextCame is a text that the inbox took.
type TextCame struct {
	CarrierID string
	From      string // E.164, or as the carrier gave it
	Body      string
	Got       journal.Millis
	Files     int // pictures or recordings that came with it; they are not kept
	// Others are the tags of all households of this phone, where one phone
	// serves several and the text does not name one; empty otherwise.
	Others []string
	// First says that this household is the one that answers for all of them.
	First bool
	// Waits says that of them this one alone waits for an answer, OtherWaits
	// that another one does.
	Waits, OtherWaits bool
}

// ReceiptCame says what became of a text out.
type ReceiptCame struct {
	Text   journal.TextID
	Status string // delivered, undelivered, gave_up
	Why    string
}

// Tick says that time has passed. Whatever fell due since is decided.
type Tick struct{}

// Claim takes a case: its holder answers it.
type Claim struct {
	By   string
	Case journal.CaseID
}

// Release gives a claimed case back to the queue.
type Release struct {
	By   string
	Case journal.CaseID
}

// Write sends a staff member's own words to a caregiver.
type Write struct {
	By   string
	Case journal.CaseID
	To   journal.CaregiverRef // "" is whoever wrote last on the case
	Body string
}

// Close ends a case. Disposition is a key "disposition.*" of the messages.
type Close struct {
	By          string
	Case        journal.CaseID
	Disposition string
	Note        string
}

// SetPause stops or resumes the household's reminders: a person's decision.
type SetPause struct {
	By  string
	On  bool
	Why string
}

func (Enrol) event()       {}
func (TextCame) event()    {}
func (ReceiptCame) event() {}
func (Tick) event()        {}
func (Claim) event()       {}
func (Release) event()     {}
func (Write) event()       {}
func (Close) event()       {}
func (SetPause) event()    {}

// Refused is why a person's act was not carried out, in words for that person.
type Refused struct{ Why string }

func (r *Refused) Error() string { return r.Why }

func refuse(format string, args ...any) error {
	return &Refused{Why: fmt.Sprintf(format, args...)}
}
