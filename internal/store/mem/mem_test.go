package mem_test

import (
	"testing"
	"time"

	"hearthline/internal/store"
	"hearthline/internal/store/mem"
	"hearthline/internal/store/storetest"
)

func TestConformance(t *testing.T) {
	storetest.Run(t, func(*testing.T) store.Store { return mem.New(time.Now) })
}

// The lease runs out by the clock that was given, and by no other.
func TestLeaseByTheGivenClock(t *testing.T) {
	now := time.Date(2026, 3, 8, 3, 0, 0, 0, time.UTC)
	b := mem.New(func() time.Time { return now }).Branch("north")
	hold := func(who string) bool {
		t.Helper()
		ok, err := b.Hold(t.Context(), who, 3*time.Second, 0)
		if err != nil {
			t.Fatal(err)
		}
		return ok
	}
	if !hold("a") {
		t.Fatal("a free lease was refused")
	}
	now = now.Add(3*time.Second - 1)
	if hold("b") {
		t.Fatal("taken over before it ran out")
	}
	now = now.Add(1)
	if !hold("b") {
		t.Fatal("not to be had when it had run out")
	}
	if got, err := b.Now(t.Context()); !got.Equal(now.Truncate(time.Millisecond)) || err != nil {
		t.Fatalf("Now = %v, %v; want %v", got, err, now)
	}
}

// The ids of a long simulation do not pile up: what is forgotten is dropped.
func TestForgottenIDsAreDropped(t *testing.T) {
	if n := mem.SeenAfterYear(t); n > 24 {
		t.Errorf("%d carrier ids kept after a year of two a day, want at most those of twelve days", n)
	}
}
