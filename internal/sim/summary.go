package sim

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/ledger"
)

// Disposition is how the pretend nurse closes her cases.
const Disposition = "disposition.advised"

// Summary is what a run came to, counted from the journals.
type Summary struct {
	Households int            `json:"households"`
	Days       int            `json:"days"`
	Seed       uint64         `json:"seed"`
	TextsIn    int            `json:"texts_in"`
	Twice      int            `json:"texts_brought_twice"`
	Prompts    int            `json:"prompts"`
	SecondAsks int            `json:"second_asks"`
	Unanswered int            `json:"unanswered"`
	NotAsked   map[string]int `json:"not_asked"` // by reason
	TextsOut   map[string]int `json:"texts_out"` // by reason
	Handling   map[string]int `json:"handling"`  // of the readings
	Cases      map[string]int `json:"cases"`     // opened, by protocol
	Overdue    int            `json:"cases_overdue"`
	Closed     int            `json:"cases_closed"`
	Open       int            `json:"cases_open"`
	EndedTexts int            `json:"caregivers_who_ended_texts"`
	Volume     ledger.Split   `json:"volume_ml"` // of the closed feed days
	Entries    int64          `json:"journal_entries"`
	Hash       string         `json:"views_sha256"` // of the plaintext views: same seed, same hash
}

// Sum counts a run from its journals and checks on the way that each
// household's state is what Apply makes of its journal.
func (r *Run) Sum(ctx context.Context, days int) (Summary, error) {
	sum := Summary{Households: len(r.Homes), Days: days, Seed: r.Seed, Twice: r.Twice,
		NotAsked: map[string]int{}, TextsOut: map[string]int{}, Handling: map[string]int{}, Cases: map[string]int{}}
	var ids []journal.HouseholdID
	for _, h := range r.Homes {
		ids = append(ids, h.ID)
	}
	slices.Sort(ids)
	all := sha256.New()
	for _, id := range ids {
		s, err := r.Engine.Household(ctx, id)
		if err != nil {
			return sum, err
		}
		folded := household.State{ID: id}
		entries, err := r.Engine.Thread(ctx, id, int(s.Entries))
		if err != nil {
			return sum, err
		}
		for _, e := range entries {
			folded = household.Apply(folded, e)
			sum.count(e)
		}
		folded.Version = s.Version
		kept, again, err := canon(s, folded)
		if err != nil {
			return sum, err
		}
		if kept != again {
			return sum, fmt.Errorf("household %s: its state is not what its journal makes", id)
		}
		all.Write([]byte(kept))
		for _, d := range s.Days {
			if d.Closed {
				sum.Volume = sum.Volume.Add(d.Volume())
			}
		}
		for _, c := range s.Cases {
			if c.Open() {
				sum.Open++
			}
		}
	}
	sum.Hash = hex.EncodeToString(all.Sum(nil))
	return sum, nil
}

func canon(a, b household.State) (string, string, error) {
	x, err := json.Marshal(a)
	if err != nil {
		return "", "", err
	}
	y, err := json.Marshal(b)
	return string(x), string(y), err
}

func (s *Summary) count(e journal.Entry) {
	s.Entries++
	switch e.Kind {
	case journal.KindTextIn:
		s.TextsIn++
		var r struct{ Handling string }
		if json.Unmarshal(e.TextIn.Reading, &r) == nil {
			s.Handling[r.Handling]++
		}
	case journal.KindPrompted:
		s.Prompts++
	case journal.KindAskedAgain:
		s.SecondAsks++
	case journal.KindUnanswered:
		s.Unanswered++
	case journal.KindNotAsked:
		s.NotAsked[e.NotAsked.Why]++
	case journal.KindTextOut:
		s.TextsOut[e.TextOut.Why]++
	case journal.KindCaseOpened:
		s.Cases[e.CaseOpened.Protocol]++
	case journal.KindCaseMoved:
		switch e.CaseMoved.To {
		case "overdue":
			s.Overdue++
		case "closed":
			s.Closed++
		}
	case journal.KindConsent:
		if e.Consent.Stopped {
			s.EndedTexts++
		}
	}
}

// String is the summary for a person to read.
func (s Summary) String() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("%d households, %d days, seed %d", s.Households, s.Days, s.Seed)
	line("  prompts %d, second asks %d, unanswered %d, not asked %s", s.Prompts, s.SecondAsks, s.Unanswered, counts(s.NotAsked))
	line("  texts in %d (%d more came twice and were stored once), read as %s", s.TextsIn, s.Twice, counts(s.Handling))
	line("  texts out %s", counts(s.TextsOut))
	line("  cases %s; %d passed their answer-by time, %d closed, %d open", counts(s.Cases), s.Overdue, s.Closed, s.Open)
	line("  caregivers who ended texts: %d", s.EndedTexts)
	v := s.Volume
	line("  closed feed days: prescribed %d mL = given %d + known short %d + not reported %d + not asked %d + held %d; given beyond the prescription %d",
		v.Prescribed, v.Given, v.Short, v.NotReported, v.NotAsked, v.Held, v.Over)
	line("  journal entries %d; every state is what its journal makes", s.Entries)
	line("  views sha256 %s", s.Hash)
	return b.String()
}

func counts(m map[string]int) string {
	if len(m) == 0 {
		return "none"
	}
	var parts []string
	for k, n := range m {
		parts = append(parts, fmt.Sprintf("%s %d", k, n))
	}
	slices.Sort(parts)
	return strings.Join(parts, ", ")
}

// Days runs a whole number of days, minute by minute. tick, if set, is told
// after each hour how much is done.
func (r *Run) Days(ctx context.Context, days int, tick func(done, of int)) error {
	minutes := days * 24 * 60
	for m := 1; m <= minutes; m++ {
		if err := r.Step(ctx, r.Start.Add(time.Duration(m)*time.Minute)); err != nil {
			return err
		}
		if tick != nil && m%60 == 0 {
			tick(m/60, minutes/60)
		}
	}
	return nil
}
