package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// full is a change that touches everything there is, of two households.
func full(token store.Token) store.Change {
	return store.Change{Token: token, Households: []store.HouseholdChange{
		{
			ID: "maple-1", State: []byte("one"), Entries: bytesOf("e1", "e2"), Due: noon + hour,
			Cases:     []store.CaseChange{{ID: "k2", AnswerBy: noon + 2, Row: []byte("case 2")}, {ID: "k1", AnswerBy: noon + 1, Row: []byte("case 1")}},
			Send:      []store.Out{{ID: "t1", Class: journal.ClassTrouble, NotBefore: noon, Blob: []byte("text 1")}, {ID: "t2", Class: journal.ClassReminder, NotBefore: noon, Blob: []byte("text 2")}},
			AddPhones: []journal.PhoneKey{"p1", "p2"}, Row: []byte("row 1"), Rank: 5,
		},
		{
			ID: "maple-2", State: []byte("two"), Entries: bytesOf("f1"), Due: noon,
			Cases:     []store.CaseChange{{ID: "k3", AnswerBy: noon, Row: []byte("case 3")}},
			Send:      []store.Out{{ID: "t3", Class: journal.ClassTrouble, NotBefore: noon, Blob: []byte("text 3")}},
			AddPhones: []journal.PhoneKey{"p1"}, Row: []byte("row 2"), Rank: 7,
		},
	}}
}

func testCommitWrites(t *testing.T, b store.Branch) {
	item := accept(t, b, "in1", "gave 150", noon)
	other := accept(t, b, "in2", "done", noon)
	before := read(t, b).Pulse.Revision
	must(t, b.Commit(t.Context(), full(item.Token)))
	v := read(t, b)
	if v.Pulse.Revision <= before {
		t.Errorf("revision went from %d to %d; it must grow", before, v.Pulse.Revision)
	}
	want := View{
		Inbox: []store.Item{other},
		Due:   []journal.HouseholdID{"maple-2", "maple-1"},
		Queue: []store.Case{
			{ID: "k3", AnswerBy: noon, Row: []byte("case 3")},
			{ID: "k1", AnswerBy: noon + 1, Row: []byte("case 1")},
			{ID: "k2", AnswerBy: noon + 2, Row: []byte("case 2")},
		},
		Cases:    3,
		Rows:     []store.Row{{ID: "maple-2", Rank: 7, Row: []byte("row 2")}, {ID: "maple-1", Rank: 5, Row: []byte("row 1")}},
		RowCount: 2,
		Pulse:    store.Pulse{Revision: v.Pulse.Revision, Inbox: 1, Outbox: [journal.Classes]int{2, 0, 1}, Cases: 3},
		Households: map[journal.HouseholdID]Household{
			"maple-1": {store.Stored{Version: 1, State: []byte("one")}, bytesOf("e1", "e2")},
			"maple-2": {store.Stored{Version: 1, State: []byte("two")}, bytesOf("f1")},
			"maple-3": {},
		},
		Phones: map[journal.PhoneKey][]journal.HouseholdID{"p1": {"maple-1", "maple-2"}, "p2": {"maple-1"}},
	}
	same(t, "the branch after a commit", v, want)

	// The next change leaves alone what it does not name.
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-1", Was: 1, State: []byte("one, later"), Due: noon + hour})))
	v2 := read(t, b)
	want.Pulse.Revision = v2.Pulse.Revision
	want.Households["maple-1"] = Household{store.Stored{Version: 2, State: []byte("one, later")}, bytesOf("e1", "e2")}
	same(t, "the branch after a small commit", v2, want)
}

func testCommitRefuses(t *testing.T, b store.Branch) {
	item := accept(t, b, "in1", "gave 150", noon)
	gone := accept(t, b, "in2", "done", noon)
	must(t, b.Commit(t.Context(), store.Change{Token: gone.Token, Households: one(store.HouseholdChange{ID: "maple-2"}).Households}))
	before := read(t, b)

	ahead := full(item.Token) // both are at another version than this says
	ahead.Households[0].Was = 1
	ahead.Households[1].Was = 1
	behind := full(item.Token) // maple-2 exists already
	goneToken := full(gone.Token)
	goneToken.Households[1].Was = 1
	both := full(gone.Token)
	for _, c := range []struct {
		name string
		c    store.Change
		want error
	}{
		{"the first household is stale", ahead, store.ErrStale},
		{"the second household is stale", behind, store.ErrStale},
		{"the item is gone", goneToken, store.ErrGone},
		{"gone comes before stale: nothing is left to decide", both, store.ErrGone},
		{"a version of which the true one is the beginning", one(store.HouseholdChange{ID: "maple-2", Was: 10}), store.ErrStale},
		{"only an item, and gone", store.Change{Token: gone.Token}, store.ErrGone},
	} {
		if err := b.Commit(t.Context(), c.c); !errors.Is(err, c.want) {
			t.Errorf("%s: Commit = %v, want %v", c.name, err, c.want)
		}
		same(t, c.name+": the branch", read(t, b), before)
	}
	for i := int64(1); i < 12; i++ { // beyond one digit
		must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-2", Was: i})))
		if err := b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-2", Was: 1})); !errors.Is(err, store.ErrStale) {
			t.Fatalf("at version %d, decided on 1: %v, want %v", i+1, err, store.ErrStale)
		}
	}
}

func testMalformed(t *testing.T, b store.Branch) {
	before := read(t, b)
	many := make([][]byte, store.MaxItems+1)
	crowd := store.Change{}
	for i := range store.MaxHouseholds + 1 {
		crowd.Households = append(crowd.Households, store.HouseholdChange{ID: journal.HouseholdID(fmt.Sprint("h", i)), State: []byte("s")})
	}
	twice := one(store.HouseholdChange{ID: "maple-1"})
	twice.Households = append(twice.Households, twice.Households[0])
	for _, c := range []struct {
		name string
		c    store.Change
	}{
		{"nothing", store.Change{}},
		{"a household twice", twice},
		{"a crowd", crowd},
		{"too many entries", one(store.HouseholdChange{ID: "maple-1", Entries: many})},
		{"no household id", one(store.HouseholdChange{})},
		{"no state", store.Change{Households: []store.HouseholdChange{{ID: "maple-1"}}}},
		{"negative version", one(store.HouseholdChange{ID: "maple-1", Was: -1})},
		{"negative due", one(store.HouseholdChange{ID: "maple-1", Due: -1})},
		{"due beyond what a score holds", one(store.HouseholdChange{ID: "maple-1", Due: 1<<53 + 1})},
		{"rank beyond what a score holds", one(store.HouseholdChange{ID: "maple-1", Rank: 1<<53 + 1, Row: []byte("r")})},
		{"no case id", one(store.HouseholdChange{ID: "maple-1", Cases: []store.CaseChange{{AnswerBy: noon}}})},
		{"negative answer-by", one(store.HouseholdChange{ID: "maple-1", Cases: []store.CaseChange{{ID: "k", AnswerBy: -1}}})},
		{"no text id", one(store.HouseholdChange{ID: "maple-1", Send: []store.Out{{}}})},
		{"no such class", one(store.HouseholdChange{ID: "maple-1", Send: []store.Out{{ID: "t", Class: journal.Classes}}})},
		{"negative class", one(store.HouseholdChange{ID: "maple-1", Send: []store.Out{{ID: "t", Class: -1}}})},
		{"negative not-before", one(store.HouseholdChange{ID: "maple-1", Send: []store.Out{{ID: "t", NotBefore: -1}}})},
		{"nothing to withdraw", one(store.HouseholdChange{ID: "maple-1", Withdraw: []journal.TextID{""}})},
		{"an empty phone", one(store.HouseholdChange{ID: "maple-1", AddPhones: []journal.PhoneKey{""}})},
		{"an empty phone to drop", one(store.HouseholdChange{ID: "maple-1", DropPhones: []journal.PhoneKey{""}})},
		{"a token of another kind", store.Change{Token: "first"}},
	} {
		if err := b.Commit(t.Context(), c.c); !errors.Is(err, store.ErrMalformed) {
			t.Errorf("%s: Commit = %v, want %v", c.name, err, store.ErrMalformed)
		}
	}
	ctx := t.Context()
	_, errAccept := b.Accept(ctx, store.In{Blob: []byte("x")}, noon)
	_, errTake := b.Take(ctx, journal.Classes, noon, noon, 1)
	_, errInbox := b.Inbox(ctx, "first", 1)
	_, errHold := b.Hold(ctx, "", 1e9, 0)
	_, errTTL := b.Hold(ctx, "a", 0, 0)
	for name, err := range map[string]error{
		"Accept without an id": errAccept, "Take of no such class": errTake, "Inbox after no token": errInbox,
		"Hold by nobody": errHold, "Hold for no time": errTTL,
		"Settle without an id":                 b.Settle(ctx, store.Settlement{}),
		"Settle of no such class":              b.Settle(ctx, store.Settlement{ID: "t", Class: -1}),
		"Settle with a report without its id":  b.Settle(ctx, store.Settlement{ID: "t", Report: &store.In{}}),
		"Settle until before there was a time": b.Settle(ctx, store.Settlement{ID: "t", Later: -1}),
	} {
		if !errors.Is(err, store.ErrMalformed) {
			t.Errorf("%s: %v, want %v", name, err, store.ErrMalformed)
		}
	}
	same(t, "the branch", read(t, b), before)
}

// testRace: many decide on the same version, or on the same item, at once.
func testRace(t *testing.T, b store.Branch) {
	const rounds, sides = 25, 4
	for round := range rounds {
		item := accept(t, b, fmt.Sprint("in", round), "done", noon)
		for _, c := range []struct {
			name   string
			change func(side int) store.Change
			lost   error
		}{
			{"one version", func(side int) store.Change {
				return one(store.HouseholdChange{ID: "maple-1", Was: int64(round), Entries: bytesOf(fmt.Sprint(side))})
			}, store.ErrStale},
			{"one item", func(side int) store.Change {
				c := one(store.HouseholdChange{ID: journal.HouseholdID(fmt.Sprintf("h%d-%d", round, side))})
				c.Token = item.Token
				return c
			}, store.ErrGone},
		} {
			var won atomic.Int32
			var wg sync.WaitGroup
			start := make(chan struct{})
			for side := range sides {
				wg.Go(func() {
					<-start
					switch err := b.Commit(t.Context(), c.change(side)); {
					case err == nil:
						won.Add(1)
					case !errors.Is(err, c.lost):
						t.Errorf("%s: %v, want %v", c.name, err, c.lost)
					}
				})
			}
			close(start)
			wg.Wait()
			if won.Load() != 1 {
				t.Fatalf("%s: %d of %d won, want 1", c.name, won.Load(), sides)
			}
		}
	}
	v := read(t, b)
	if h := v.Households["maple-1"]; h.Stored.Version != rounds || len(h.Journal) != rounds {
		t.Fatalf("version %d and %d entries, want %d of both", h.Stored.Version, len(h.Journal), rounds)
	}
	if v.Pulse.Inbox != 0 {
		t.Fatalf("%d items left in the inbox", v.Pulse.Inbox)
	}
}

// testCommitAll: where a store takes many changes at once, it answers for each.
func testCommitAll(t *testing.T, b store.Branch) {
	many, ok := b.(interface {
		CommitAll(ctx context.Context, changes []store.Change) []error
	})
	if !ok {
		t.Skip("this store takes one change at a time")
	}
	item := accept(t, b, "in1", "done", noon)
	withItem := one(store.HouseholdChange{ID: "maple-2"})
	withItem.Token = item.Token
	again := one(store.HouseholdChange{ID: "maple-3"})
	again.Token = item.Token
	changes := []store.Change{
		one(store.HouseholdChange{ID: "maple-1", Entries: bytesOf("a")}),
		one(store.HouseholdChange{ID: "maple-1", Was: 1, Entries: bytesOf("b")}),
		one(store.HouseholdChange{ID: "maple-1", Was: 1, Entries: bytesOf("never")}),
		{},
		withItem,
		again,
	}
	errs := many.CommitAll(t.Context(), changes)
	want := []error{nil, nil, store.ErrStale, store.ErrMalformed, nil, store.ErrGone}
	if len(errs) != len(want) {
		t.Fatalf("%d errors for %d changes", len(errs), len(want))
	}
	for i := range want {
		if !errors.Is(errs[i], want[i]) || (want[i] == nil) != (errs[i] == nil) {
			t.Errorf("change %d: %v, want %v", i, errs[i], want[i])
		}
	}
	v := read(t, b)
	same(t, "maple-1", v.Households["maple-1"], Household{store.Stored{Version: 2, State: []byte("state")}, bytesOf("a", "b")})
	same(t, "maple-3", v.Households["maple-3"], Household{})
	if errs := many.CommitAll(t.Context(), nil); len(errs) != 0 {
		t.Errorf("no changes, %d errors", len(errs))
	}
}
