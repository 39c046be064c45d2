package storetest

import (
	"fmt"
	"slices"
	"sync"
	"testing"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

func testEmpty(t *testing.T, b store.Branch) {
	same(t, "an empty branch", read(t, b), View{
		Households: map[journal.HouseholdID]Household{"maple-1": {}, "maple-2": {}, "maple-3": {}},
		Phones:     map[journal.PhoneKey][]journal.HouseholdID{"p1": nil, "p2": nil},
	})
	for c := range journal.Class(journal.Classes) {
		out, err := b.Take(t.Context(), c, noon, noon+hour, 10)
		must(t, err)
		same(t, "texts taken", out, []store.Out(nil))
	}
	must(t, b.Settle(t.Context(), store.Settlement{ID: "none", Class: journal.ClassAnswer}))
	must(t, b.Release(t.Context(), "nobody"))
}

func testInboxOrder(t *testing.T, b store.Branch) {
	const n = 300
	var want []store.Item
	for i := range n {
		in := store.In{CarrierID: fmt.Sprint("id", i), Blob: fmt.Appendf(nil, "text %d", i)}
		// The time told may stand still or go back; the order is that of coming.
		now := noon + journal.Millis(i%7)
		fresh, err := b.Accept(t.Context(), in, now)
		must(t, err)
		if !fresh {
			t.Fatalf("item %d is not fresh", i)
		}
		want = append(want, store.Item{Got: now, Blob: in.Blob})
	}
	got, err := b.Inbox(t.Context(), "", n+1)
	must(t, err)
	for i := range got {
		if i > 0 && got[i].Token <= got[i-1].Token {
			t.Fatalf("token %q of item %d does not sort after %q", got[i].Token, i, got[i-1].Token)
		}
		if i < len(want) {
			want[i].Token = got[i].Token // the store's to choose
		}
	}
	same(t, "the inbox", got, want)

	var paged []store.Item
	for after := store.Token(""); ; {
		page, err := b.Inbox(t.Context(), after, 64)
		must(t, err)
		if len(page) == 0 {
			break
		}
		if len(page) > 64 {
			t.Fatalf("asked for 64, got %d", len(page))
		}
		paged = append(paged, page...)
		after = page[len(page)-1].Token
	}
	same(t, "the inbox by pages", paged, want)

	// A token goes on working when its item is gone.
	must(t, b.Commit(t.Context(), store.Change{Token: want[9].Token}))
	got, err = b.Inbox(t.Context(), want[9].Token, 1)
	must(t, err)
	same(t, "the item after one that is gone", got, want[10:11])
	want = slices.Delete(want, 9, 10)
	got, err = b.Inbox(t.Context(), "", n)
	must(t, err)
	same(t, "the inbox without the item", got, want)

	for _, n := range []int{0, -1} {
		got, err = b.Inbox(t.Context(), "", n)
		must(t, err)
		same(t, fmt.Sprintf("Inbox of %d items", n), got, []store.Item(nil))
	}
}

func testRepeats(t *testing.T, b store.Branch) {
	remember := journal.Millis(store.RememberIDs.Milliseconds())
	for _, c := range []struct {
		why   string
		id    string
		now   journal.Millis
		fresh bool
	}{
		{"never seen", "a", noon, true},
		{"a retry at once", "a", noon, false},
		{"another id", "b", noon, true},
		{"a clock that went back", "a", noon - hour, false},
		{"the last moment at which it is remembered", "a", noon + remember - 1, false},
		{"forgotten", "a", noon + remember, true},
		{"remembered from its second coming", "a", noon + remember + hour, false},
		{"b came an hour less than that ago", "b", noon + remember - hour, false},
	} {
		fresh, err := b.Accept(t.Context(), store.In{CarrierID: c.id, Blob: []byte(c.why)}, c.now)
		must(t, err)
		if fresh != c.fresh {
			t.Errorf("%s: fresh = %v, want %v", c.why, fresh, c.fresh)
		}
	}
	items, err := b.Inbox(t.Context(), "", all)
	must(t, err)
	var got []string
	for _, it := range items {
		got = append(got, string(it.Blob))
	}
	same(t, "the inbox", got, []string{"never seen", "another id", "forgotten"})

	// Deciding on an item does not make its id fresh again.
	must(t, b.Commit(t.Context(), store.Change{Token: items[1].Token}))
	fresh, err := b.Accept(t.Context(), store.In{CarrierID: "b"}, noon+hour)
	must(t, err)
	if fresh {
		t.Error("an id became fresh when its item was decided on")
	}
}

// testAcceptRace: the same ids from several sides at once; each is stored once,
// and one side's own items keep their order.
func testAcceptRace(t *testing.T, b store.Branch) {
	const sides, each = 4, 40
	var wg sync.WaitGroup
	stored := make([]int, sides)
	for s := range sides {
		wg.Go(func() {
			for i := range each {
				for _, id := range []string{fmt.Sprint("shared", i), fmt.Sprintf("own%d-%d", s, i)} {
					fresh, err := b.Accept(t.Context(), store.In{CarrierID: id, Blob: []byte(id)}, noon)
					if err != nil {
						t.Error(err)
						return
					}
					if fresh {
						stored[s]++
					}
				}
			}
		})
	}
	wg.Wait()
	items, err := b.Inbox(t.Context(), "", all)
	must(t, err)
	total, at := 0, map[string]int{}
	for _, n := range stored {
		total += n
	}
	for i, it := range items {
		if _, twice := at[string(it.Blob)]; twice {
			t.Errorf("%s is stored twice", it.Blob)
		}
		at[string(it.Blob)] = i
	}
	if len(items) != each*(1+sides) || total != len(items) {
		t.Fatalf("%d stored, %d acknowledged as fresh; want %d of both", len(items), total, each*(1+sides))
	}
	for s := range sides {
		for i := 1; i < each; i++ {
			if at[fmt.Sprintf("own%d-%d", s, i)] < at[fmt.Sprintf("own%d-%d", s, i-1)] {
				t.Fatalf("side %d: item %d is before the one accepted before it", s, i)
			}
		}
	}
}
