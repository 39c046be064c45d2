package mem_test

import (
	"fmt"
	"testing"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/store"
	"hearthline/internal/store/mem"
)

// BenchmarkCommit commits a due prompt of one of 100,000 households and hands
// its text on: what a step of a simulation asks of the store.
func BenchmarkCommit(b *testing.B) {
	const households = 100_000
	br := mem.New(time.Now).Branch("north")
	state, small := make([]byte, 1000), make([]byte, 300)
	was := make([]int64, households)
	ctx := b.Context()
	i := 0
	b.ReportAllocs()
	for b.Loop() {
		h := i % households
		i++
		id := journal.HouseholdID(fmt.Sprintf("maple-%d", h))
		text := journal.TextID(journal.MakeID(id, was[h]+1, 0))
		err := br.Commit(ctx, store.Change{Households: []store.HouseholdChange{{
			ID: id, Was: was[h], State: state, Entries: [][]byte{small}, Due: journal.Millis(i), Rank: int64(i % 5), Row: small,
			Send: []store.Out{{ID: text, Class: journal.ClassReminder, Blob: small}},
		}}})
		was[h]++
		if err != nil {
			b.Fatal(err)
		}
		if err := br.Settle(ctx, store.Settlement{ID: text, Class: journal.ClassReminder}); err != nil {
			b.Fatal(err)
		}
	}
}
