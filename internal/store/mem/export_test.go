package mem

import (
	"fmt"
	"testing"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// SeenAfterYear accepts two items a day for a year and counts the ids kept.
func SeenAfterYear(t *testing.T) int {
	b := New(time.Now).Branch("north").(*branch)
	for i := range journal.Millis(2 * 365) {
		if _, err := b.Accept(t.Context(), store.In{CarrierID: fmt.Sprint(i)}, i*12*3_600_000); err != nil {
			t.Fatal(err)
		}
	}
	return len(b.seen)
}
