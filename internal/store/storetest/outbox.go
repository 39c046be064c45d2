package storetest

import (
	"testing"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// box works on one class of the outbox.
type box struct {
	*testing.T
	store.Branch
	class journal.Class
}

func (b box) take(now, until journal.Millis, n int, want ...store.Out) {
	b.Helper()
	got, err := b.Take(b.Context(), b.class, now, until, n)
	must(b, err)
	same(b, "texts taken", got, want)
}

func (b box) size(want int) {
	b.Helper()
	p, err := b.Pulse(b.Context())
	must(b, err)
	if p.Outbox[b.class] != want {
		b.Fatalf("%d texts of class %d in the outbox, want %d", p.Outbox[b.class], b.class, want)
	}
}

// inbox checks the blobs in the inbox.
func (b box) inbox(want ...string) {
	b.Helper()
	items, err := b.Inbox(b.Context(), "", all)
	must(b, err)
	var got []string
	for _, it := range items {
		got = append(got, string(it.Blob))
	}
	same(b, "the inbox", got, want)
}

func (b box) out(id journal.TextID, notBefore journal.Millis) store.Out {
	return store.Out{ID: id, Class: b.class, NotBefore: notBefore, Blob: []byte("text " + id)}
}

func testTake(t *testing.T, branch store.Branch) {
	b := box{t, branch, journal.ClassAnswer}
	other := box{t, branch, journal.ClassReminder}
	x, y, z := b.out("x", noon), b.out("y", noon), b.out("z", noon-1)
	late, reminder := b.out("late", noon+hour), other.out("r", noon)
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-1", Send: []store.Out{y, late, reminder, x, z}})))

	b.take(noon-2, noon+10, 5)
	b.take(noon, noon+10, 0)
	b.take(noon, noon+10, 2, z, x)
	b.take(noon+9, noon+20, 5, y)
	other.take(noon, noon+10, 5, reminder)
	b.size(4) // a lease takes nothing away

	// A lease that ran out: taken again, oldest first, at the time it ran out.
	x.NotBefore, z.NotBefore, y.NotBefore = noon+10, noon+10, noon+20
	b.take(noon+20, noon+30, 5, x, z, y)
	b.take(noon+29, noon+30, 5)
}

func testSettle(t *testing.T, branch store.Branch) {
	b := box{t, branch, journal.ClassTrouble}
	must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-1", Send: []store.Out{
		b.out("done", noon), b.out("later", noon), b.out("unknown", noon), b.out("retried", noon)}})))
	b.take(noon, noon+hour, 10, b.out("done", noon), b.out("later", noon), b.out("retried", noon), b.out("unknown", noon))
	settle := func(s store.Settlement) {
		t.Helper()
		s.Class, s.Now = b.class, noon+1
		must(t, b.Settle(t.Context(), s))
	}
	report := func(id string) *store.In { return &store.In{CarrierID: id, Blob: []byte("report " + id)} }

	settle(store.Settlement{ID: "done"})
	b.size(3)
	b.inbox()
	settle(store.Settlement{ID: "done", Report: report("r0")}) // settled before: nothing is reported
	b.inbox()
	settle(store.Settlement{ID: "later", Later: noon + 5})
	b.size(3)
	settle(store.Settlement{ID: "unknown", Report: report("r1")})
	b.size(2)
	b.inbox("report r1")
	settle(store.Settlement{ID: "retried", Later: noon + 6, Report: report("r2")})
	settle(store.Settlement{ID: "retried", Later: noon + 7, Report: report("r2")}) // reported once
	b.inbox("report r1", "report r2")
	if fresh, err := b.Accept(t.Context(), *report("r2"), noon+2); fresh || err != nil {
		t.Errorf("Accept of a report's id = %v, %v; want it remembered", fresh, err)
	}
	items, err := b.Inbox(t.Context(), "", 1)
	must(t, err)
	if items[0].Got != noon+1 {
		t.Errorf("the report came at %d, want %d", items[0].Got, noon+1)
	}
	settle(store.Settlement{ID: "never was", Later: noon, Report: report("r3")})
	wrongClass := store.Settlement{ID: "later", Class: journal.ClassReminder, Report: report("r4")}
	must(t, b.Settle(t.Context(), wrongClass)) // no such text among the reminders
	b.inbox("report r1", "report r2")
	b.size(2)
	b.take(noon+10, noon+hour, 10, b.out("later", noon+5), b.out("retried", noon+7))
}

func testSendWithdraw(t *testing.T, branch store.Branch) {
	b := box{t, branch, journal.ClassTrouble}
	answers := box{t, branch, journal.ClassAnswer}
	commit := func(was int64, send []store.Out, withdraw ...journal.TextID) {
		t.Helper()
		must(t, b.Commit(t.Context(), one(store.HouseholdChange{ID: "maple-1", Was: was, Send: send, Withdraw: withdraw})))
	}
	first := b.out("t", noon)
	commit(0, []store.Out{first, answers.out("u", noon)})
	// The id is there: it is left as it is, whatever class the second has.
	changed := store.Out{ID: "t", Class: journal.ClassAnswer, NotBefore: noon - hour, Blob: []byte("another")}
	commit(1, []store.Out{changed})
	answers.take(noon-1, noon+1, 10)
	b.take(noon, noon+10, 10, first)

	// Withdrawn while it is under way: it is not taken again, and settling it reports nothing.
	commit(2, nil, "t", "never was")
	b.size(0)
	b.take(noon+hour, noon+hour, 10)
	must(t, b.Settle(t.Context(), store.Settlement{ID: "t", Class: b.class, Later: noon, Report: &store.In{CarrierID: "r"}, Now: noon}))
	b.size(0)
	b.inbox()

	// Withdrawn first, then sent: a change may replace a text.
	replaced := b.out("u", noon+1)
	commit(3, []store.Out{replaced}, "u")
	answers.size(0)
	b.take(noon+1, noon+hour, 10, replaced)
}
