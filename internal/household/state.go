// Package household is the one place where a household changes.
//
// Decide looks at a state and an event and says what follows, as journal
// entries and effects; Apply folds an entry into a state. Both are pure: the
// time is an argument, nothing random, no input or output. Whoever calls
// Decide commits its entries, the state that Apply makes of them, and the
// effects, all in one step.
package household

import (
	"encoding/json"

	"hearthline/internal/journal"
	"hearthline/internal/ledger"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
)

// StateVersion is the version of the stored form of a State.
const StateVersion = 1

// The bounds of a state's lists: a household that never answers, or one that
// never stops writing, costs no more than this.
const (
	maxPrompts  = 16
	maxClosed   = 5  // closed cases kept for what comes after
	maxSent     = 12 // texts out whose receipt may still come
	maxRegimens = 4
	maxSeen     = 24
)

// Status says whether a household is prompted.
type Status string

// The statuses of a household.
const (
	Active   Status = "active"
	Paused   Status = "paused" // only a person resumes
	Ended    Status = "ended"
	Stranger Status = "stranger" // a phone that belongs to no household
)

// State is all that is known of one household. Its stored form is JSON that a
// person can read.
type State struct {
	V       int                 `json:"v"`
	ID      journal.HouseholdID `json:"id"`
	Version int64               `json:"-"`       // of the last commit, kept beside the state; 0: nothing was decided yet
	Entries int64               `json:"entries"` // how many entries the journal has
	Status  Status              `json:"status"`

	Name       string      `json:"name,omitempty"`
	Tag        string      `json:"tag,omitempty"` // tells twins on one phone apart
	Zone       string      `json:"zone,omitempty"`
	Caregivers []Caregiver `json:"caregivers,omitempty"`
	Phone      string      `json:"phone,omitempty"` // of a stranger

	Regimens []InForce      `json:"regimens,omitempty"` // oldest first
	Asked    journal.Millis `json:"asked_ms,omitempty"` // prompts up to here are decided
	Actual   regimen.Actual `json:"actual"`
	Prompts  []Prompt       `json:"prompts,omitempty"` // oldest first
	Days     []ledger.Day   `json:"days,omitempty"`    // oldest first
	Cases    []Case         `json:"cases,omitempty"`   // oldest first
	Sent     []Sent         `json:"sent,omitempty"`    // oldest first

	Enrolled journal.Millis `json:"enrolled_ms,omitempty"` // first put on file
	Returned journal.Millis `json:"returned_ms,omitempty"` // the last pause ended
	PausedAt journal.Millis `json:"paused_ms,omitempty"`   // the pause that lasts began
	Talk     *Talk          `json:"talk,omitempty"`        // one conversation at a time
	Seen     []Seen         `json:"seen,omitempty"`        // symptoms of the last days, oldest first
	LastText journal.Millis `json:"last_text_ms,omitempty"`
	Latest   journal.Millis `json:"latest_ms,omitempty"`   // the newest entry
	Helped   journal.Millis `json:"helped_ms,omitempty"`   // a stranger was last told where help is
	Undeliv  int            `json:"undelivered,omitempty"` // in a row
}

// Caregiver is a caregiver and what they agreed to.
type Caregiver struct {
	journal.Caregiver
	Stopped bool `json:"stopped,omitempty"` // ended texts
}

// InForce is a prescription and from when it holds.
type InForce struct {
	From         journal.Millis  `json:"from_ms"`
	CheckedBy    string          `json:"checked_by,omitempty"` // who compared a changed order with the prescriber's
	Prescription json.RawMessage `json:"prescription"`
}

// Prompt is a prompt that was sent and may still be answered.
type Prompt struct {
	journal.Prompted
	Sent    journal.Millis `json:"sent_ms"`               // when it was decided
	Again   bool           `json:"again,omitempty"`       // was asked a second time
	AgainAt journal.Millis `json:"again_at_ms,omitempty"` // the caregiver asked for it at this time
	Settled bool           `json:"settled,omitempty"`     // answered, or wants no answer
	Silent  bool           `json:"silent,omitempty"`      // noted as unanswered; an answer still counts
}

// Talk is the conversation about a case.
type Talk struct {
	Case journal.CaseID `json:"case"`
	protocol.Talk
}

// Seen is a symptom that a text said to be there.
type Seen struct {
	Code string         `json:"code"`
	At   journal.Millis `json:"at_ms"`
}

// Sent is a text out whose receipt may still come.
type Sent struct {
	ID journal.TextID       `json:"id"`
	To journal.CaregiverRef `json:"to,omitempty"`
}

// CaseStatus says where a case stands.
type CaseStatus string

// The statuses of a case.
const (
	CaseOpen    CaseStatus = "open"
	CaseClaimed CaseStatus = "claimed"
	CaseWaiting CaseStatus = "waiting"
	CaseClosed  CaseStatus = "closed"
)

// Case is one thing that a person must answer.
type Case struct {
	ID          journal.CaseID       `json:"case"`
	Protocol    string               `json:"protocol"`
	Codes       []string             `json:"codes"`
	Title       string               `json:"title"` // message key
	Answer      journal.Answer       `json:"answer"`
	Opened      journal.Millis       `json:"opened_ms"`
	AnswerBy    journal.Millis       `json:"answer_by_ms"`
	GoesTo      string               `json:"goes_to"`
	Status      CaseStatus           `json:"status"`
	Holder      string               `json:"holder,omitempty"`
	Overdue     bool                 `json:"overdue,omitempty"`
	From        journal.CaregiverRef `json:"from,omitempty"`
	Said        string               `json:"said,omitempty"`  // the newest text of it
	Words       []string             `json:"words,omitempty"` // the words in Said that decided it
	Texts       int                  `json:"texts"`           // how many texts it holds
	Why         string               `json:"why,omitempty"`
	Unknown     bool                 `json:"number_unknown,omitempty"`
	Flows       string               `json:"flows,omitempty"`
	Hold        []string             `json:"hold,omitempty"` // kinds of prompts withheld while it is open
	Disposition string               `json:"disposition,omitempty"`
	Settled     bool                 `json:"settled,omitempty"` // an answer lets it wait longer than a nurse may have seen
}

// Open reports whether the case still wants an answer.
func (c Case) Open() bool { return c.Status != CaseClosed }
