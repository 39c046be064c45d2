package household

import (
	"errors"
	"testing"

	"hearthline/internal/journal"
)

func FuzzDecodeState(f *testing.F) {
	h := newHouse(f, testWorld(f), at("2026-11-30 12:00"), family(), regimenYAML)
	h.says(mother, "she threw up")
	f.Add([]byte(marshal(h.s)))
	f.Add([]byte(`{"v":2}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := DecodeState(b)
		if err != nil {
			return
		}
		// Whatever was read can be folded on and written again.
		s = Apply(s, journal.Entry{Kind: journal.KindDayClosed, DayClosed: &journal.DayClosed{Day: "2026-11-30"}})
		if _, err := DecodeState(marshal(s)); err != nil {
			t.Errorf("a state that was read cannot be read again: %v", err)
		}
	})
}

func FuzzParseFile(f *testing.F) {
	w := testWorld(f)
	f.Add([]byte("household: maple-17\nname: x\nregimen: r.yaml\nchecked_by: lee\ncaregivers:\n  - {name: Ana, phone: \"+1 202 555 0117\", language: en}\n"), []byte(regimenYAML))
	f.Fuzz(func(t *testing.T, file, order []byte) {
		read := func(string) ([]byte, error) { return order, nil }
		number := func(raw string) (string, error) {
			if len(raw) < 5 {
				return "", errors.New("too short")
			}
			return raw, nil
		}
		id, enrol, _, err := ParseFile("maple-17.yaml", file, read, number, w.Limits)
		if err != nil && (id != "" || enrol.Prescription != nil) {
			t.Errorf("an error, and half a household: %q", id)
		}
		if err == nil && (len(enrol.Who.Caregivers) == 0 || enrol.Who.Zone == "") {
			t.Errorf("taken without caregivers or zone: %+v", enrol.Who)
		}
	})
}
