package redisstore

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// TestKilledServerKeepsWhatItAcknowledged kills redis-server with SIGKILL in
// the middle of writing, several times over, and then accounts for every write
// that was acknowledged: each text accepted is decided on exactly once, and
// each household is whole, with all that was committed or more.
func TestKilledServerKeepsWhatItAcknowledged(t *testing.T) {
	dir := t.TempDir()
	l := &load{acked: map[string]bool{}, versions: map[journal.HouseholdID]int64{}}
	const rounds, writesARound = 6, 300
	for round := range rounds {
		c := own(t, dir)
		s := opened(t, c)
		l.check(t, s.branch("north"))
		l.run(s.branch("north"), round, writesARound, c.Kill)
		if err := c.Stop(); err != nil {
			t.Fatal(err)
		}
	}
	s := opened(t, own(t, dir))
	b := s.branch("north")
	l.check(t, b)

	// What is left undecided is decided now; then each text is in the journal once.
	for {
		n, err := l.decide(t.Context(), b)
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			break
		}
	}
	entries, err := b.Journal(t.Context(), "decider", 0, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	times := map[string]int{}
	for _, e := range entries {
		times[string(e)]++
	}
	unanswered := 0
	for text, n := range times {
		if n != 1 {
			t.Errorf("%s was decided on %d times", text, n)
		}
		if !l.acked[text] {
			unanswered++ // stored, but the answer was lost: the carrier sends it again
		}
	}
	for text := range l.acked {
		if times[text] == 0 {
			t.Errorf("%s was acknowledged and is lost", text)
		}
	}
	t.Logf("%d kills: %d texts acknowledged, all decided on once; %d more were stored without an answer; %d commits acknowledged, all there",
		rounds, len(l.acked), unanswered, l.commits)
	if len(l.acked) < rounds*writesARound/10 || l.commits < rounds*writesARound/10 {
		t.Error("too little was written for this to say anything")
	}
}

// load writes from several sides and keeps account of what was acknowledged.
type load struct {
	mu       sync.Mutex
	acked    map[string]bool               // texts accepted
	versions map[journal.HouseholdID]int64 // last version acknowledged
	commits  int
}

// run writes until kill has ended the server, which happens after so many
// writes were acknowledged, and writers are still writing.
func (l *load) run(b *Branch, round int, writes int64, kill func()) {
	ctx := context.Background()
	var done atomic.Int64
	enough := make(chan struct{})
	acknowledged := func() {
		if done.Add(1) == writes {
			close(enough)
		}
	}
	var wg sync.WaitGroup
	for side := range 3 {
		wg.Go(func() { // a hook
			for i := 0; ; i++ {
				text := fmt.Sprintf("text %d.%d.%d", round, side, i)
				if _, err := b.Accept(ctx, store.In{CarrierID: text, Blob: []byte(text)}, noon); err != nil {
					return
				}
				l.mu.Lock()
				l.acked[text] = true
				l.mu.Unlock()
				acknowledged()
			}
		})
		wg.Go(func() { // a household that changes on its own
			id := journal.HouseholdID(fmt.Sprint("h", side))
			kept, err := b.Load(ctx, id)
			if err != nil {
				return
			}
			for v := kept.Version; ; v++ {
				if err := b.Commit(ctx, store.Change{Households: []store.HouseholdChange{step(id, v)}}); err != nil {
					return
				}
				l.mu.Lock()
				l.versions[id] = v + 1
				l.commits++
				l.mu.Unlock()
				acknowledged()
			}
		})
	}
	wg.Go(func() { // an engine
		for {
			n, err := l.decide(ctx, b)
			if err != nil {
				return
			}
			for range n {
				acknowledged()
			}
		}
	})
	<-enough
	kill()
	wg.Wait()
}

// step is version v's change of a household: as much of everything as its next version says.
func step(id journal.HouseholdID, v int64) store.HouseholdChange {
	next := strconv.FormatInt(v+1, 10)
	return store.HouseholdChange{
		ID: id, Was: v, State: []byte(next), Entries: [][]byte{[]byte(next)}, Due: journal.Millis(v + 1), Row: []byte(next), Rank: v + 1,
		Cases:    []store.CaseChange{{ID: journal.CaseID(id), AnswerBy: journal.Millis(v + 1), Row: []byte(next)}},
		Send:     []store.Out{{ID: journal.TextID(fmt.Sprint(id, ".", next)), NotBefore: noon, Blob: []byte(next)}},
		Withdraw: []journal.TextID{journal.TextID(fmt.Sprint(id, ".", v))},
	}
}

// decide decides on up to 16 texts, each into the journal of one household.
func (l *load) decide(ctx context.Context, b *Branch) (int, error) {
	items, err := b.Inbox(ctx, "", 16)
	if err != nil {
		return 0, err
	}
	kept, err := b.Load(ctx, "decider")
	if err != nil {
		return 0, err
	}
	for i, item := range items {
		err := b.Commit(ctx, store.Change{Token: item.Token, Households: []store.HouseholdChange{
			{ID: "decider", Was: kept.Version + int64(i), State: []byte("s"), Entries: [][]byte{item.Blob}}}})
		if err != nil {
			return i, err
		}
		l.mu.Lock()
		l.versions["decider"] = kept.Version + int64(i) + 1
		l.commits++
		l.mu.Unlock()
	}
	return len(items), nil
}

// check looks whether all that was acknowledged is there, and nothing by halves.
func (l *load) check(t *testing.T, b *Branch) {
	t.Helper()
	ctx := t.Context()
	rows, _, err := b.Rows(ctx, 0, 100)
	if err != nil {
		t.Fatal(err)
	}
	queue, _, err := b.Queue(ctx, 100)
	if err != nil {
		t.Fatal(err)
	}
	texts, err := b.Take(ctx, 0, noon, noon, 100) // a lease that ends at once
	if err != nil {
		t.Fatal(err)
	}
	for id, acked := range l.versions {
		kept, err := b.Load(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		if kept.Version < acked || kept.Version > acked+1 {
			t.Errorf("%s is at version %d; %d was acknowledged and at most one more was under way", id, kept.Version, acked)
		}
		entries, err := b.Journal(ctx, id, 0, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		if int64(len(entries)) != kept.Version {
			t.Errorf("%s is at version %d and has %d entries", id, kept.Version, len(entries))
		}
		if id == "decider" {
			continue
		}
		want := strconv.FormatInt(kept.Version, 10)
		var found []string
		for _, r := range rows {
			if r.ID == id && r.Rank == kept.Version {
				found = append(found, "row "+string(r.Row))
			}
		}
		for _, k := range queue {
			if k.ID == journal.CaseID(id) && int64(k.AnswerBy) == kept.Version {
				found = append(found, "case "+string(k.Row))
			}
		}
		for _, o := range texts {
			if strings.HasPrefix(string(o.ID), string(id)+".") {
				found = append(found, "text "+string(o.Blob))
			}
		}
		if got, want := strings.Join(append(found, "state "+string(kept.State)), ", "), fmt.Sprintf("row %[1]s, case %[1]s, text %[1]s, state %[1]s", want); got != want {
			t.Errorf("%s: %s; want %s", id, got, want)
		}
	}
}
