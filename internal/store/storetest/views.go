package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

func testDue(t *testing.T, b store.Branch) {
	due := func(until journal.Millis, n int) []journal.HouseholdID {
		t.Helper()
		ids, err := b.Due(t.Context(), until, n)
		must(t, err)
		return ids
	}
	for id, at := range map[journal.HouseholdID]journal.Millis{"oak": noon, "elm": noon, "ash": noon + 1, "fir": noon - hour, "yew": 0} {
		must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: id, Due: at})))
	}
	same(t, "due before all", due(noon-hour-1, 10), []journal.HouseholdID(nil))
	same(t, "due at noon", due(noon, 10), []journal.HouseholdID{"fir", "elm", "oak"})
	same(t, "the two longest due", due(noon+hour, 2), []journal.HouseholdID{"fir", "elm"})
	same(t, "none asked for", due(noon, 0), []journal.HouseholdID(nil))
	same(t, "again: nothing was taken away", due(noon+1, 10), []journal.HouseholdID{"fir", "elm", "oak", "ash"})
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "fir", Was: 1, Due: noon + 1})))
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "elm", Was: 1, Due: 0})))
	same(t, "after one moved and one ended", due(noon+1, 10), []journal.HouseholdID{"oak", "ash", "fir"})
}

func testQueue(t *testing.T, b store.Branch) {
	commit := func(was int64, cases ...store.CaseChange) {
		t.Helper()
		must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-1", Was: was, Cases: cases})))
	}
	queue := func(n, total int, want ...store.Case) {
		t.Helper()
		got, count, err := b.Queue(t.Context(), n)
		must(t, err)
		same(t, "the queue", got, want)
		if count != total {
			t.Fatalf("the queue counts %d, want %d", count, total)
		}
	}
	a := store.Case{ID: "a", AnswerBy: noon + 5, Row: []byte("case a")}
	c := store.Case{ID: "c", AnswerBy: noon + 3, Row: []byte("case c")}
	d := store.Case{ID: "d", AnswerBy: noon + 3, Row: []byte("case d")}
	commit(0, store.CaseChange(a), store.CaseChange(d), store.CaseChange(c))
	queue(10, 3, c, d, a)
	queue(1, 3, c)
	queue(0, 3)
	a.AnswerBy, a.Row = noon, []byte("case a, sooner")
	commit(1, store.CaseChange(a), store.CaseChange{ID: "d"}, store.CaseChange{ID: "never was"})
	queue(10, 2, a, c)
	// Twice in one change: what comes last holds.
	commit(2, store.CaseChange{ID: "c"}, store.CaseChange(c), store.CaseChange{ID: "a", Row: []byte("x")}, store.CaseChange{ID: "a"})
	queue(10, 1, c)
}

func testRows(t *testing.T, b store.Branch) {
	rows := func(from, n, total int, want ...string) {
		t.Helper()
		got, count, err := b.Rows(t.Context(), from, n)
		must(t, err)
		var short []string
		for _, r := range got {
			short = append(short, fmt.Sprintf("%s %d %s", r.ID, r.Rank, r.Row))
		}
		same(t, fmt.Sprintf("rows from %d, %d at most", from, n), short, want)
		if count != total {
			t.Fatalf("%d rows in all, want %d", count, total)
		}
	}
	for _, h := range []store.HouseholdChange{
		{ID: "elm", Rank: 3, Row: []byte("e")}, {ID: "ash", Rank: 3, Row: []byte("a")}, {ID: "oak", Rank: -2, Row: []byte("o")},
		{ID: "yew", Rank: 9, Row: []byte("y")}, {ID: "fir", Rank: 0, Row: []byte("f")}, {ID: "bay", Rank: 99}, // no row: not shown
	} {
		must(t, b.Commit(t.Context(), one(h)))
	}
	rows(0, 10, 5, "yew 9 y", "ash 3 a", "elm 3 e", "fir 0 f", "oak -2 o")
	rows(1, 2, 5, "ash 3 a", "elm 3 e")
	rows(4, 2, 5, "oak -2 o")
	rows(5, 2, 5)
	rows(0, 0, 5)
	rows(-3, 1, 5, "yew 9 y")
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "oak", Was: 1, Rank: 10, Row: []byte("o, urgent")})))
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "yew", Was: 1, Row: []byte{}})))          // removed
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "ash", Was: 1, Rank: 50})))               // left, rank too
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "bay", Was: 1, Rank: 1, Row: []byte{}}))) // was not there
	rows(0, 10, 4, "oak 10 o, urgent", "ash 3 a", "elm 3 e", "fir 0 f")
}

func testPhones(t *testing.T, b store.Branch) {
	commit := func(id journal.HouseholdID, was int64, add, drop []journal.PhoneKey) {
		t.Helper()
		must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: id, Was: was, AddPhones: add, DropPhones: drop})))
	}
	find := func(p journal.PhoneKey, want ...journal.HouseholdID) {
		t.Helper()
		got, err := b.Find(t.Context(), p)
		must(t, err)
		same(t, "households of "+string(p), got, want)
	}
	commit("twin-b", 0, []journal.PhoneKey{"p1", "p2"}, nil)
	commit("twin-a", 0, []journal.PhoneKey{"p1", "p1"}, []journal.PhoneKey{"p3"})
	find("p1", "twin-a", "twin-b")
	find("p2", "twin-b")
	commit("twin-b", 1, []journal.PhoneKey{"p3"}, []journal.PhoneKey{"p1"})
	find("p1", "twin-a")
	find("p3", "twin-b")
	commit("twin-a", 1, []journal.PhoneKey{"p1"}, []journal.PhoneKey{"p1"}) // dropped first, then added
	find("p1", "twin-a")
	commit("twin-a", 2, nil, []journal.PhoneKey{"p1"})
	find("p1")
}

func testJournal(t *testing.T, b store.Branch) {
	const n = 1200 // more than a script hands on in one piece
	var entries [][]byte
	for i := range n {
		entries = append(entries, fmt.Appendf(nil, "entry %d", i))
	}
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-1", Entries: entries[:1]})))
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-1", Was: 1, Entries: entries[1:]})))
	for _, c := range []struct {
		from     int64
		n        int
		lo, hi   int
		whatever string
	}{
		{0, n, 0, n, "all"},
		{0, 1 << 40, 0, n, "all and any more"},
		{0, 2, 0, 2, "the first two"},
		{5, 3, 5, 8, "from the middle"},
		{n - 1, 5, n - 1, n, "the last"},
		{n, 5, 0, 0, "after the last"},
		{-2, 5, n - 2, n, "the last two"},
		{-5, 2, n - 5, n - 3, "two of the last five"},
		{-2 * n, 3, 0, 3, "from before the first"},
		{3, 0, 0, 0, "none"},
		{3, -1, 0, 0, "fewer than none"},
	} {
		got, err := b.Journal(t.Context(), "maple-1", c.from, c.n)
		must(t, err)
		same(t, fmt.Sprintf("%s: Journal(%d, %d)", c.whatever, c.from, c.n), got, entries[c.lo:c.hi])
	}
	got, err := b.Journal(t.Context(), "maple-2", -5, 5)
	must(t, err)
	same(t, "the journal of nobody", got, [][]byte(nil))
}

// testBytes: sealed bytes hold anything, and belong to whoever holds them.
func testBytes(t *testing.T, b store.Branch) {
	odd := make([]byte, 64<<10)
	for i := range odd {
		odd[i] = byte(i * 7)
	}
	copy(odd, "12:\r\n\x00\xff:")
	given := bytes.Clone(odd)
	item := store.In{CarrierID: "id:\r\n\x00 {x}", Blob: given}
	_, err := b.Accept(t.Context(), item, noon)
	must(t, err)
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{
		ID: "maple-1", State: given, Entries: [][]byte{given}, Row: given,
		Cases: []store.CaseChange{{ID: "k", AnswerBy: 1, Row: given}}, Send: []store.Out{{ID: "t", NotBefore: 1, Blob: given}},
	})))
	clear(given)
	for range 2 { // what was read is the reader's own, to write on
		v := read(t, b)
		out, err := b.Take(t.Context(), 0, noon, noon-1, 1)
		must(t, err)
		if len(v.Inbox) != 1 || len(v.Queue) != 1 || len(v.Rows) != 1 || len(out) != 1 || len(v.Households["maple-1"].Journal) != 1 {
			t.Fatalf("not all is there: %d, %d, %d, %d", len(v.Inbox), len(v.Queue), len(v.Rows), len(out))
		}
		for name, got := range map[string][]byte{
			"inbox": v.Inbox[0].Blob, "case": v.Queue[0].Row, "row": v.Rows[0].Row, "text": out[0].Blob,
			"state": v.Households["maple-1"].Stored.State, "entry": v.Households["maple-1"].Journal[0],
		} {
			if !bytes.Equal(got, odd) {
				t.Errorf("%s: came back as other bytes", name)
			}
			clear(got)
		}
	}
}

func testLease(t *testing.T, b store.Branch) {
	hold := func(who string, ttl time.Duration, round journal.Millis) bool {
		t.Helper()
		ok, err := b.Hold(t.Context(), who, ttl, round)
		must(t, err)
		return ok
	}
	rounds := func(want journal.Millis) {
		t.Helper()
		p, err := b.Pulse(t.Context())
		must(t, err)
		if p.Round != want {
			t.Fatalf("the last round is noted as %d, want %d", p.Round, want)
		}
	}
	if !hold("a", time.Hour, noon) || !hold("a", time.Hour, noon+1) {
		t.Fatal("a free lease was refused, or a renewal")
	}
	if hold("b", time.Hour, noon+2) {
		t.Fatal("two hold the lease")
	}
	rounds(noon + 1) // not what the refused one said
	must(t, b.Release(t.Context(), "b"))
	if hold("b", time.Hour, 0) {
		t.Fatal("one gave up another's lease")
	}
	must(t, b.Release(t.Context(), "a"))
	if !hold("b", time.Hour, 0) {
		t.Fatal("a lease that was given up is not to be had")
	}
	rounds(noon + 1) // b has none yet: what was noted stays
	if hold("a", time.Hour, 0) {
		t.Fatal("two hold the lease")
	}
	if !hold("b", time.Millisecond, noon+3) {
		t.Fatal("a renewal was refused")
	}
	// It runs out by the store's own clock, so all there is to do is ask.
	for start := time.Now(); !hold("a", time.Hour, noon+4); {
		if time.Since(start) > 10*time.Second {
			t.Fatal("a lease of a millisecond has not run out in ten seconds")
		}
	}
	rounds(noon + 4)
}

func testNow(t *testing.T, b store.Branch) {
	first, err := b.Now(t.Context())
	must(t, err)
	second, err := b.Now(t.Context())
	must(t, err)
	if first.Location() != time.UTC || first.Nanosecond()%1e6 != 0 || second.Before(first) || second.Sub(first) > time.Minute {
		t.Errorf("Now = %v and then %v: wants UTC, whole milliseconds, and no steps", first, second)
	}
}

func testCancelled(t *testing.T, b store.Branch) {
	must(t, b.Commit(t.Context(), full("")))
	before := read(t, b)
	over, cancel := context.WithCancel(t.Context())
	cancel()
	calls := map[string]func() error{
		"Now":     func() error { _, err := b.Now(over); return err },
		"Accept":  func() error { _, err := b.Accept(over, store.In{CarrierID: "x"}, noon); return err },
		"Inbox":   func() error { _, err := b.Inbox(over, "", 1); return err },
		"Due":     func() error { _, err := b.Due(over, noon, 1); return err },
		"Load":    func() error { _, err := b.Load(over, "maple-1"); return err },
		"Find":    func() error { _, err := b.Find(over, "p1"); return err },
		"Journal": func() error { _, err := b.Journal(over, "maple-1", 0, 1); return err },
		"Commit":  func() error { return b.Commit(over, one(store.HouseholdChange{ID: "maple-1", Was: 1})) },
		"Take":    func() error { _, err := b.Take(over, 0, noon, noon, 1); return err },
		"Settle":  func() error { return b.Settle(over, store.Settlement{ID: "t1"}) },
		"Queue":   func() error { _, _, err := b.Queue(over, 1); return err },
		"Rows":    func() error { _, _, err := b.Rows(over, 0, 1); return err },
		"Hold":    func() error { _, err := b.Hold(over, "a", time.Hour, 0); return err },
		"Release": func() error { return b.Release(over, "a") },
		"Pulse":   func() error { _, err := b.Pulse(over); return err },
	}
	for name, call := range calls {
		if err := call(); !errors.Is(err, context.Canceled) {
			t.Errorf("%s = %v, want %v", name, err, context.Canceled)
		}
	}
	same(t, "the branch", read(t, b), before)
}

func testBranches(t *testing.T, s store.Store) {
	a, b := s.Branch(NewBranch()), s.Branch(NewBranch())
	empty := read(t, b)
	accept(t, a, "in1", "done", noon)
	must(t, a.Commit(t.Context(), full("")))
	if ok, err := a.Hold(t.Context(), "engine", time.Hour, noon); !ok || err != nil {
		t.Fatal(ok, err)
	}
	same(t, "another branch", read(t, b), empty)
	if ok, err := b.Hold(t.Context(), "another engine", time.Hour, noon); !ok || err != nil {
		t.Fatal("the lease of one branch keeps another's engine out", ok, err)
	}
	accept(t, b, "in1", "the same id in another branch", noon)
}

func testBranchID(t *testing.T, s store.Store) {
	for _, id := range []journal.BranchID{"", "North", "a}b", "a b", "a:b"} {
		b := s.Branch(id)
		_, errAccept := b.Accept(t.Context(), store.In{CarrierID: "x"}, noon)
		_, errLoad := b.Load(t.Context(), "maple-1")
		_, errDue := b.Due(t.Context(), noon, 1)
		_, errNow := b.Now(t.Context())
		_, errInbox := b.Inbox(t.Context(), "", 0)
		for name, err := range map[string]error{
			"Accept": errAccept, "Load": errLoad, "Due": errDue, "Now": errNow, "Inbox": errInbox,
			"Commit": b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-1"})),
		} {
			if !errors.Is(err, store.ErrMalformed) {
				t.Errorf("branch %q: %s = %v, want %v", id, name, err, store.ErrMalformed)
			}
		}
	}
}
