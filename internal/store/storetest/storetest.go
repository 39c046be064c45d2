// Package storetest says what a store must do: a conformance suite and a state
// machine that compares any store with a plain model. Both stores pass both.
package storetest

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// Run runs the suite and the state machine on a store that open opens. It is
// opened once; every test has a branch of its own in it.
func Run(t *testing.T, open func(t *testing.T) store.Store) {
	s := open(t)
	Suite(t, s)
	t.Run("state machine", func(t *testing.T) { Machine(t, s) })
}

// Suite runs the suite alone.
func Suite(t *testing.T, s store.Store) {
	for _, c := range []struct {
		name string
		test func(*testing.T, store.Branch)
	}{
		{"an empty branch", testEmpty},
		{"the inbox keeps order", testInboxOrder},
		{"carrier ids are remembered", testRepeats},
		{"a commit writes all", testCommitWrites},
		{"a commit writes nothing", testCommitRefuses},
		{"malformed is refused", testMalformed},
		{"one of two commits wins", testRace},
		{"accepting from many sides", testAcceptRace},
		{"due households", testDue},
		{"the outbox leases", testTake},
		{"the outbox settles", testSettle},
		{"sending and withdrawing", testSendWithdraw},
		{"the queue", testQueue},
		{"summary rows", testRows},
		{"phones", testPhones},
		{"the journal", testJournal},
		{"bytes are kept as they are", testBytes},
		{"the lease", testLease},
		{"the time", testNow},
		{"many commits at once", testCommitAll},
		{"a call that is over before it began", testCancelled},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, s.Branch(NewBranch())) })
	}
	t.Run("branches share nothing", func(t *testing.T) { testBranches(t, s) })
	t.Run("a branch id that cannot be", func(t *testing.T) { testBranchID(t, s) })
	t.Run("ping", func(t *testing.T) { must(t, s.Ping(t.Context())) })
}

var branches atomic.Int64

// NewBranch returns the id of a branch that no other test of this process has.
func NewBranch() journal.BranchID {
	return journal.BranchID(fmt.Sprintf("t%d-%d", time.Now().UnixNano(), branches.Add(1)))
}

// noon is when most of these tests happen.
const noon journal.Millis = 1_777_000_000_000

// hour in milliseconds.
const hour journal.Millis = 3_600_000

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// same fails the test where got is not want; an empty list is as good as none.
func same(t testing.TB, what string, got, want any) {
	t.Helper()
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
		t.Fatalf("%s (-want +got):\n%s", what, diff)
	}
}

// View is all that can be read of a branch.
type View struct {
	Inbox      []store.Item
	Due        []journal.HouseholdID
	Queue      []store.Case
	Cases      int
	Rows       []store.Row
	RowCount   int
	Pulse      store.Pulse
	Households map[journal.HouseholdID]Household
	Phones     map[journal.PhoneKey][]journal.HouseholdID
}

// Household is all that can be read of a household.
type Household struct {
	Stored  store.Stored
	Journal [][]byte
}

// all is more than any test puts anywhere.
const all = 900

// Read reads the whole of a branch, as far as the households and phones go that
// are named. What is in the outbox shows only in its sizes: looking is taking.
func Read(ctx context.Context, b store.Branch, ids []journal.HouseholdID, phones []journal.PhoneKey) (v View, err error) {
	if v.Inbox, err = b.Inbox(ctx, "", all); err != nil {
		return v, err
	}
	if v.Due, err = b.Due(ctx, 1<<52, all); err != nil {
		return v, err
	}
	if v.Queue, v.Cases, err = b.Queue(ctx, all); err != nil {
		return v, err
	}
	if v.Rows, v.RowCount, err = b.Rows(ctx, 0, all); err != nil {
		return v, err
	}
	if v.Pulse, err = b.Pulse(ctx); err != nil {
		return v, err
	}
	v.Households = map[journal.HouseholdID]Household{}
	for _, id := range ids {
		var h Household
		if h.Stored, err = b.Load(ctx, id); err != nil {
			return v, err
		}
		if h.Journal, err = b.Journal(ctx, id, 0, all); err != nil {
			return v, err
		}
		v.Households[id] = h
	}
	v.Phones = map[journal.PhoneKey][]journal.HouseholdID{}
	for _, p := range phones {
		if v.Phones[p], err = b.Find(ctx, p); err != nil {
			return v, err
		}
	}
	return v, nil
}

func read(t testing.TB, b store.Branch) View {
	t.Helper()
	v, err := Read(t.Context(), b, []journal.HouseholdID{"maple-1", "maple-2", "maple-3"}, []journal.PhoneKey{"p1", "p2"})
	must(t, err)
	return v
}

// accept puts one item into the inbox and returns it as it is read there.
func accept(t testing.TB, b store.Branch, id, blob string, now journal.Millis) store.Item {
	t.Helper()
	before, err := b.Inbox(t.Context(), "", all)
	must(t, err)
	fresh, err := b.Accept(t.Context(), store.In{CarrierID: id, Blob: []byte(blob)}, now)
	must(t, err)
	if !fresh {
		t.Fatalf("Accept(%s) = not fresh", id)
	}
	after, err := b.Inbox(t.Context(), "", all)
	must(t, err)
	if len(after) != len(before)+1 {
		t.Fatalf("the inbox went from %d to %d items", len(before), len(after))
	}
	return after[len(after)-1]
}

// one is a change of one household.
func one(h store.HouseholdChange) store.Change {
	if h.State == nil {
		h.State = []byte("state")
	}
	return store.Change{Households: []store.HouseholdChange{h}}
}

// bytesOf makes a list of entries.
func bytesOf(entries ...string) [][]byte {
	var out [][]byte
	for _, e := range entries {
		out = append(out, []byte(e))
	}
	return out
}
