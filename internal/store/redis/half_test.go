package redisstore

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/redis/go-redis/v9"

	"hearthline/internal/journal"
	"hearthline/internal/store"
	"hearthline/internal/store/storetest"
)

const noon journal.Millis = 1_777_000_000_000

// dump is every key of a branch with all that is in it.
func dump(t *testing.T, c redis.UniversalClient, k keys) map[string]string {
	t.Helper()
	found, err := c.Keys(t.Context(), k.tag+"*").Result()
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	for _, key := range found {
		if all[key], err = c.Dump(t.Context(), key).Result(); err != nil {
			t.Fatal(err)
		}
	}
	return all
}

// everything is a change that writes to every key that there is.
func everything(token store.Token) store.Change {
	h := store.HouseholdChange{
		ID: "maple-1", State: []byte("state"), Entries: [][]byte{[]byte("entry")}, Due: noon,
		Cases: []store.CaseChange{{ID: "k", AnswerBy: noon, Row: []byte("case")}}, Withdraw: []journal.TextID{"gone"},
		AddPhones: []journal.PhoneKey{"p1"}, DropPhones: []journal.PhoneKey{"p2"}, Row: []byte("row"), Rank: 1,
	}
	for c := range journal.Class(journal.Classes) {
		h.Send = append(h.Send, store.Out{ID: journal.TextID(rune('t' + c)), Class: c, NotBefore: noon, Blob: []byte("text")})
	}
	twin := store.HouseholdChange{ID: "maple-2", State: []byte("state"), Entries: [][]byte{[]byte("entry")}}
	return store.Change{Token: token, Households: []store.HouseholdChange{h, twin}}
}

// Redis rolls nothing back. So whatever stands in a key that should hold
// something else, a script writes all or nothing.
func TestNothingIsWrittenByHalves(t *testing.T) {
	s := opened(t, server(t))
	ctx := t.Context()
	report := &store.In{CarrierID: "report", Blob: []byte("x")}
	k := newKeys("any")
	commit := []string{k.inbox, k.due, k.queue, k.queueRows, k.out[0], k.out[1], k.out[2], k.texts, k.ranks, k.rows, k.revision,
		k.state("maple-1"), k.journal("maple-1"), k.state("maple-2"), k.journal("maple-2"), k.phone("p1"), k.phone("p2")}
	settle := []string{k.out[0], k.texts, k.inbox, k.seen("report")}
	for _, c := range []struct {
		name string
		keys []string
		do   func(b *Branch, token store.Token) error
	}{
		{"commit", commit, func(b *Branch, token store.Token) error { return b.Commit(ctx, everything(token)) }},
		{"accept", []string{k.inbox, k.seen("new")}, func(b *Branch, _ store.Token) error {
			_, err := b.Accept(ctx, store.In{CarrierID: "new"}, noon)
			return err
		}},
		{"take", []string{k.out[0], k.texts}, func(b *Branch, _ store.Token) error {
			_, err := b.Take(ctx, 0, noon, noon+1, 5)
			return err
		}},
		{"settle", settle, func(b *Branch, _ store.Token) error {
			return b.Settle(ctx, store.Settlement{ID: "there", Report: report, Now: noon})
		}},
		{"settle for later", settle, func(b *Branch, _ store.Token) error {
			return b.Settle(ctx, store.Settlement{ID: "there", Later: noon + 5, Report: report, Now: noon})
		}},
		{"hold", []string{k.lease}, func(b *Branch, _ store.Token) error {
			_, err := b.Hold(ctx, "a", 1e9, noon)
			return err
		}},
	} {
		for _, key := range c.keys {
			t.Run(c.name+" with another type in "+strings.TrimPrefix(key, k.tag), func(t *testing.T) {
				b := s.branch(storetest.NewBranch())
				key := b.keys.tag + strings.TrimPrefix(key, k.tag)
				if _, err := b.Accept(ctx, store.In{CarrierID: "old"}, noon); err != nil {
					t.Fatal(err)
				}
				items, err := b.Inbox(ctx, "", 1)
				if err != nil {
					t.Fatal(err)
				}
				there := store.Change{Households: []store.HouseholdChange{{ID: "elm", State: []byte("s"), Send: []store.Out{{ID: "there", NotBefore: noon}}}}}
				if err := b.Commit(ctx, there); err != nil {
					t.Fatal(err)
				}
				if err := s.client.Del(ctx, key).Err(); err != nil {
					t.Fatal(err)
				}
				if isString(key) {
					err = s.client.RPush(ctx, key, "x").Err()
				} else {
					err = s.client.Set(ctx, key, "x", 0).Err()
				}
				if err != nil {
					t.Fatal(err)
				}
				before := dump(t, s.client, b.keys)
				if err := c.do(b, items[0].Token); err == nil || !strings.Contains(err.Error(), "WRONGTYPE") {
					t.Fatalf("err = %v, want WRONGTYPE", err)
				}
				after := dump(t, s.client, b.keys)
				if !maps.Equal(before, after) {
					t.Errorf("something was written: %q before, %q after", slices.Sorted(maps.Keys(before)), slices.Sorted(maps.Keys(after)))
				}
			})
		}
	}
	t.Run("commit with a revision that is no number", func(t *testing.T) {
		b := s.branch(storetest.NewBranch())
		if err := s.client.Set(ctx, b.keys.revision, "many", 0).Err(); err != nil {
			t.Fatal(err)
		}
		before := dump(t, s.client, b.keys)
		if err := b.Commit(ctx, everything("")); err == nil {
			t.Fatal("committed")
		}
		if after := dump(t, s.client, b.keys); !maps.Equal(before, after) {
			t.Errorf("something was written: %q", slices.Sorted(maps.Keys(after)))
		}
	})
}

// isString says whether a key holds a string when all is well.
func isString(key string) bool {
	_, name, _ := strings.Cut(key, "}:")
	kind, _, _ := strings.Cut(name, ":")
	return slices.Contains([]string{"revision", "lease", "round", "seen", "s"}, kind)
}

// Where Redis has forgotten its scripts (a restart, SCRIPT FLUSH), they are
// sent again, one call or many, and nothing is done twice.
func TestForgottenScriptsAreSentAgain(t *testing.T) {
	c := own(t, t.TempDir())
	s := opened(t, c)
	b := s.branch("north")
	for i := range int64(3) {
		if err := s.client.ScriptFlush(t.Context()).Err(); err != nil {
			t.Fatal(err)
		}
		if err := b.Commit(t.Context(), store.Change{Households: []store.HouseholdChange{{ID: "maple-1", Was: 2 * i, State: []byte("s")}}}); err != nil {
			t.Fatal(err)
		}
		if err := s.client.ScriptFlush(t.Context()).Err(); err != nil {
			t.Fatal(err)
		}
		errs := b.CommitAll(t.Context(), []store.Change{
			{Households: []store.HouseholdChange{{ID: "maple-1", Was: 2*i + 1, State: []byte("s")}}},
			{Households: []store.HouseholdChange{{ID: "elm", Was: i, State: []byte("s")}}},
		})
		for _, err := range errs {
			if err != nil {
				t.Fatal(err)
			}
		}
	}
}

// A text whose blob is lost cannot be sent; it must not be found for ever.
func TestTakeDropsAnOrphan(t *testing.T) {
	s := opened(t, server(t))
	b := s.branch(storetest.NewBranch())
	if err := s.client.ZAdd(t.Context(), b.keys.out[1], redis.Z{Score: 1, Member: "orphan"}).Err(); err != nil {
		t.Fatal(err)
	}
	if out, err := b.Take(t.Context(), 1, noon, noon, 5); len(out) != 0 || err != nil {
		t.Fatalf("Take = %v, %v; want nothing", out, err)
	}
	if p, err := b.Pulse(t.Context()); p.Outbox[1] != 0 || err != nil {
		t.Fatalf("%d texts left, %v; want none", p.Outbox[1], err)
	}
}

// A case without its row is shown as one that cannot be read, not left out.
func TestQueueShowsACaseWithoutItsRow(t *testing.T) {
	s := opened(t, server(t))
	b := s.branch(storetest.NewBranch())
	if err := s.client.ZAdd(t.Context(), b.keys.queue, redis.Z{Score: float64(noon), Member: "k"}).Err(); err != nil {
		t.Fatal(err)
	}
	cases, n, err := b.Queue(t.Context(), 5)
	if err != nil || n != 1 || len(cases) != 1 || cases[0].ID != "k" || cases[0].AnswerBy != noon || cases[0].Row != nil {
		t.Fatalf("Queue = %v, %d, %v; want the case, without a row", cases, n, err)
	}
}

// A state without a version is an error, never version 0, which would have the
// household begun anew.
func TestLoadRefusesWhatItCannotRead(t *testing.T) {
	s := opened(t, server(t))
	b := s.branch(storetest.NewBranch())
	for _, kept := range []string{"", "state", "0:state", "-1:state", "x:state", "12"} {
		if err := s.client.Set(t.Context(), b.keys.state("maple-1"), kept, 0).Err(); err != nil {
			t.Fatal(err)
		}
		if got, err := b.Load(t.Context(), "maple-1"); err == nil {
			t.Errorf("%q was loaded as %v", kept, got)
		}
	}
}
