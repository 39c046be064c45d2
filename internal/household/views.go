package household

import (
	"hearthline/internal/journal"
	"hearthline/internal/ledger"
)

// CaseView is a case as the queue shows it: a view of the state, written by
// the same commit, and made again from the journal by a rebuild.
type CaseView struct {
	Case
	Household journal.HouseholdID `json:"household"`
	Name      string              `json:"name,omitempty"` // of the person fed; only for those allowed
	Zone      string              `json:"zone"`
	Tube      string              `json:"tube,omitempty"`
}

// RowView is a household's summary row, as the coordinator's list shows it.
type RowView struct {
	Household journal.HouseholdID `json:"household"`
	Name      string              `json:"name,omitempty"`
	Tag       string              `json:"tag,omitempty"`
	Zone      string              `json:"zone"`
	Status    Status              `json:"status"`
	Days      []DayView           `json:"days"` // newest last, at most seven
	OpenCases int                 `json:"open_cases"`
	LastText  journal.Millis      `json:"last_text_ms,omitempty"` // newest text from a caregiver
	Stopped   int                 `json:"stopped,omitempty"`      // caregivers who ended texts
	Nobody    bool                `json:"nobody,omitempty"`       // all of them did
	Undeliv   int                 `json:"undelivered,omitempty"`  // texts in a row that did not arrive
}

// DayView is one feed day of a RowView.
type DayView struct {
	Day        journal.Day  `json:"day"`
	Volume     ledger.Split `json:"volume_ml"`
	MilliKcal  int64        `json:"given_mkcal"`
	Flushes    ledger.Tally `json:"flushes"`
	BagChanges ledger.Tally `json:"bag_changes"`
	Asked      int          `json:"asked"`
	Answered   int          `json:"answered"`
	Closed     bool         `json:"closed"`
}
