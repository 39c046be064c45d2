package household

import (
	"encoding/json"
	"fmt"
)

// DecodeState reads a stored state of this or an earlier version.
func DecodeState(b []byte) (State, error) {
	var s State
	if err := json.Unmarshal(b, &s); err != nil {
		return State{}, err
	}
	if s.V < 1 || s.V > StateVersion {
		return State{}, fmt.Errorf("state version %d, this program reads 1 to %d", s.V, StateVersion)
	}
	return s, nil
}
