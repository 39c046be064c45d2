package journal

import "fmt"

// BranchID names one team's service, "north": the unit of scale, and the hash
// tag of all its keys.
type BranchID string

// HouseholdID is a household's code, "maple-17": never a name. A phone number
// that belongs to no household is kept under a code of its own that begins
// with StrangerPrefix.
type HouseholdID string

// StrangerPrefix begins the code under which texts of an unknown phone are kept.
const StrangerPrefix = "number-"

// Stranger reports whether id stands for a phone that belongs to no household.
func (id HouseholdID) Stranger() bool {
	return len(id) > len(StrangerPrefix) && id[:len(StrangerPrefix)] == StrangerPrefix
}

// TextID names one text in or out. It is also the idempotency key with which a
// text is handed to a carrier.
type TextID string

// CaseID names one case.
type CaseID string

// CaregiverRef names a caregiver within a household, "c1".
type CaregiverRef string

// MakeID builds an id from what decided it: household, the version that the
// decision makes, and a running index within the decision. Nothing random, so
// that a crash and a second try make the same ids.
func MakeID(h HouseholdID, version int64, index int) string {
	return fmt.Sprintf("%s.%d.%d", h, version, index)
}

// PhoneKey is the keyed hash by which the store finds the households of a
// phone; the number itself is never a key.
type PhoneKey string

// HouseholdOf returns the household in an id that MakeID built; "" where there is none.
func HouseholdOf(id string) HouseholdID {
	for dots := 0; id != ""; {
		i := len(id) - 1
		last := id[i]
		id = id[:i]
		if last == '.' {
			if dots++; dots == 2 {
				return HouseholdID(id)
			}
		}
	}
	return ""
}
