package engine

import (
	"sync"

	"hearthline/internal/household"
	"hearthline/internal/journal"
)

// maxStates bounds the decoded states that are remembered; beyond it they are
// forgotten all at once, which costs one decoding a household.
const maxStates = 20_000

// states remembers decoded states. The store is still asked each time: a state
// is taken from here only if the version that is kept there is the same, and a
// version is written once only. States are values that nobody changes.
type states struct {
	mu  sync.Mutex
	all map[journal.HouseholdID]household.State
}

func (s *states) get(id journal.HouseholdID, version int64) (household.State, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	known, ok := s.all[id]
	return known, ok && known.Version == version
}

func (s *states) put(state household.State) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all == nil || len(s.all) >= maxStates {
		s.all = map[journal.HouseholdID]household.State{}
	}
	s.all[state.ID] = state
}
