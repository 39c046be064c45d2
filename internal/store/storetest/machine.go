package storetest

import (
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

var (
	someHouseholds = []journal.HouseholdID{"maple-1", "maple-2", "elm-10"}
	somePhones     = []journal.PhoneKey{"p1", "p2"}
	someCases      = []journal.CaseID{"maple-1.1.0", "maple-1.1.1", "elm-10.2.0"}
	someTexts      = []journal.TextID{"maple-1.1.0", "maple-1.2.0", "elm-10.1.0", "elm-10.1.1"}
	someIDs        = []string{"in-a", "in-b", "in-c", "in-d", "in-e"}
)

// Machine does at random what callers do, right and wrong, and compares the
// store after each step with the model. The names are few, so that steps meet.
func Machine(t *testing.T, s store.Store) {
	rapid.Check(t, func(r *rapid.T) {
		m := &machine{store: s.Branch(NewBranch()), model: newModel(), tb: t}
		m.start = m.revision(r)
		r.Repeat(map[string]func(*rapid.T){
			"accept": m.accept, "commit": m.commit, "commit again": m.commitAgain, "take": m.take, "settle": m.settle, "hold": m.hold, "release": m.release,
			"": m.compare,
		})
	})
}

type machine struct {
	tb     *testing.T
	store  store.Branch
	model  *model
	tokens []store.Token // by the number of the item
	start  int64         // the revision at the beginning
	last   *store.Change // the last change that was tried, and its item's number
	number int
}

func (m *machine) revision(r *rapid.T) int64 {
	p, err := m.store.Pulse(m.tb.Context())
	if err != nil {
		r.Fatal(err)
	}
	return p.Revision
}

func instant(r *rapid.T, name string) journal.Millis {
	return noon + journal.Millis(rapid.IntRange(0, 5).Draw(r, name))
}

func (m *machine) accept(r *rapid.T) {
	in := m.in(r)
	now := noon + journal.Millis(rapid.SampledFrom([]int64{0, 1, store.RememberIDs.Milliseconds() - 1, store.RememberIDs.Milliseconds()}).Draw(r, "now"))
	got, err := m.store.Accept(m.tb.Context(), in, now)
	if want := m.model.accept(in, now); got != want || err != nil {
		r.Fatalf("Accept = %v, %v; want %v", got, err, want)
	}
	m.learn(r)
}

func (m *machine) in(r *rapid.T) store.In {
	return store.In{CarrierID: rapid.SampledFrom(someIDs).Draw(r, "id"), Blob: rapid.SliceOfN(rapid.Byte(), 0, 4).Draw(r, "blob")}
}

// learn finds the token of what was accepted.
func (m *machine) learn(r *rapid.T) {
	for len(m.tokens) < m.model.accepted {
		items, err := m.store.Inbox(m.tb.Context(), "", all)
		if err != nil || len(items) == 0 {
			r.Fatalf("the inbox has no item for one that was accepted: %v", err)
		}
		m.tokens = append(m.tokens, items[len(items)-1].Token)
	}
}

func (m *machine) commit(r *rapid.T) {
	c, number := store.Change{}, -1
	if len(m.tokens) > 0 && rapid.Bool().Draw(r, "for an item") {
		number = rapid.IntRange(0, len(m.tokens)-1).Draw(r, "item")
		c.Token = m.tokens[number]
	}
	ids := rapid.SliceOfNDistinct(rapid.SampledFrom(someHouseholds), 1, 2, rapid.ID[journal.HouseholdID]).Draw(r, "households")
	for _, id := range ids {
		h := household(r, id)
		h.Was = m.model.version(id)
		if rapid.IntRange(0, 7).Draw(r, "stale") == 0 {
			h.Was = max(0, h.Was+rapid.SampledFrom([]int64{-1, 1, 9}).Draw(r, "by"))
		}
		c.Households = append(c.Households, h)
	}
	m.last, m.number = &c, number
	m.try(r, c, number)
}

// commitAgain is the second try of one whose answer was lost.
func (m *machine) commitAgain(r *rapid.T) {
	if m.last == nil {
		r.Skip("nothing was tried yet")
	}
	m.try(r, *m.last, m.number)
}

func (m *machine) try(r *rapid.T, c store.Change, number int) {
	err := m.store.Commit(m.tb.Context(), c)
	if want := m.model.commit(c, number); !errors.Is(err, want) || (err == nil) != (want == nil) {
		r.Fatalf("Commit = %v, want %v", err, want)
	}
}

func household(r *rapid.T, id journal.HouseholdID) store.HouseholdChange {
	h := store.HouseholdChange{
		ID:         id,
		State:      rapid.SliceOfN(rapid.Byte(), 1, 6).Draw(r, "state"),
		Entries:    rapid.SliceOfN(rapid.SliceOfN(rapid.Byte(), 1, 3), 0, 3).Draw(r, "entries"),
		AddPhones:  rapid.SliceOfN(rapid.SampledFrom(somePhones), 0, 2).Draw(r, "add"),
		DropPhones: rapid.SliceOfN(rapid.SampledFrom(somePhones), 0, 1).Draw(r, "drop"),
		Withdraw:   rapid.SliceOfN(rapid.SampledFrom(someTexts), 0, 2).Draw(r, "withdraw"),
		Rank:       rapid.Int64Range(-2, 2).Draw(r, "rank"),
		Row:        rapid.SampledFrom([][]byte{nil, {}, []byte("row"), []byte("another")}).Draw(r, "row"),
	}
	if rapid.Bool().Draw(r, "due") {
		h.Due = instant(r, "due at")
	}
	for range rapid.IntRange(0, 2).Draw(r, "cases") {
		h.Cases = append(h.Cases, store.CaseChange{
			ID: rapid.SampledFrom(someCases).Draw(r, "case"), AnswerBy: instant(r, "answer-by"),
			Row: rapid.SampledFrom([][]byte{nil, []byte("case"), []byte("changed")}).Draw(r, "case row"),
		})
	}
	for range rapid.IntRange(0, 2).Draw(r, "texts") {
		h.Send = append(h.Send, store.Out{
			ID: rapid.SampledFrom(someTexts).Draw(r, "text"), Class: class(r), NotBefore: instant(r, "not before"),
			Blob: rapid.SliceOfN(rapid.Byte(), 0, 3).Draw(r, "text blob"),
		})
	}
	return h
}

func class(r *rapid.T) journal.Class {
	return journal.Class(rapid.IntRange(0, journal.Classes-1).Draw(r, "class"))
}

func (m *machine) take(r *rapid.T) {
	class, now, n := class(r), instant(r, "now"), rapid.IntRange(0, 3).Draw(r, "n")
	until := now + journal.Millis(rapid.IntRange(0, 4).Draw(r, "lease"))
	got, err := m.store.Take(m.tb.Context(), class, now, until, n)
	want := m.model.take(class, now, until, n)
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" || err != nil {
		r.Fatalf("Take: %v (-want +got):\n%s", err, diff)
	}
}

func (m *machine) settle(r *rapid.T) {
	s := store.Settlement{ID: rapid.SampledFrom(someTexts).Draw(r, "text"), Class: class(r), Now: instant(r, "now")}
	if rapid.Bool().Draw(r, "put off") {
		s.Later = instant(r, "later")
	}
	if rapid.Bool().Draw(r, "with a report") {
		in := m.in(r)
		s.Report = &in
	}
	if err := m.store.Settle(m.tb.Context(), s); err != nil {
		r.Fatal(err)
	}
	m.model.settle(s)
	m.learn(r)
}

func (m *machine) hold(r *rapid.T) {
	who := rapid.SampledFrom([]string{"a", "b"}).Draw(r, "who")
	round := rapid.SampledFrom([]journal.Millis{0, noon, noon + 1}).Draw(r, "round")
	got, err := m.store.Hold(m.tb.Context(), who, time.Hour, round)
	if want := m.model.hold(who, round); got != want || err != nil {
		r.Fatalf("Hold = %v, %v; want %v", got, err, want)
	}
}

func (m *machine) release(r *rapid.T) {
	who := rapid.SampledFrom([]string{"a", "b"}).Draw(r, "who")
	if err := m.store.Release(m.tb.Context(), who); err != nil {
		r.Fatal(err)
	}
	if m.model.holder == who {
		m.model.holder = ""
	}
}

// compare reads the whole of both.
func (m *machine) compare(r *rapid.T) {
	got, err := Read(m.tb.Context(), m.store, someHouseholds, somePhones)
	if err != nil {
		r.Fatal(err)
	}
	for i := range got.Inbox {
		if n := slices.Index(m.tokens, got.Inbox[i].Token); n != m.model.inbox[min(i, len(m.model.inbox)-1)].number {
			r.Fatalf("inbox item %d is number %d", i, n)
		}
		got.Inbox[i].Token = ""
	}
	got.Pulse.Revision -= m.start
	want := m.model.view(someHouseholds, somePhones)
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
		r.Fatal(fmt.Sprintf("the branch (-want +got):\n%s", diff))
	}
}
