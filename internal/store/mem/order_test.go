package mem

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// A sorted slice says what an order must be.
func TestOrderIsASortedSet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o, plain := newOrder(), []place(nil)
		n := rapid.IntRange(1, 1500).Draw(t, "steps")
		ids := rapid.IntRange(1, 900).Draw(t, "ids")
		seed := rapid.Uint32().Draw(t, "seed")
		next := func(limit int) int { // a plain generator: thousands of draws would be slow to shrink
			seed = seed*1664525 + 1013904223
			return int(seed>>8) % limit
		}
		for range n {
			id, score := fmt.Sprint("h", next(ids)), int64(next(50)-25)
			i := slices.IndexFunc(plain, func(p place) bool { return p.id == id })
			if i >= 0 {
				plain = slices.Delete(plain, i, i+1)
			}
			if next(4) == 0 {
				if got := o.remove(id); got != (i >= 0) {
					t.Fatalf("remove(%s) = %v, want %v", id, got, i >= 0)
				}
				continue
			}
			o.set(id, score)
			p := place{score, id}
			at, _ := slices.BinarySearchFunc(plain, p, compare)
			plain = slices.Insert(plain, at, p)
		}
		if o.len() != len(plain) {
			t.Fatalf("len = %d, want %d", o.len(), len(plain))
		}
		if got := o.page(0, n); !slices.Equal(got, plain) {
			t.Fatalf("page(0, all) = %v, want %v", got, plain)
		}
		from, k, limit := next(len(plain)+3), next(40), int64(next(60)-30)
		if got, want := o.page(from, k), plain[min(from, len(plain)):min(from+k, len(plain))]; !slices.Equal(got, want) {
			t.Fatalf("page(%d, %d) = %v, want %v", from, k, got, want)
		}
		var upTo, after []place
		for _, p := range plain {
			if p.score <= limit && len(upTo) < k {
				upTo = append(upTo, p)
			}
			if p.score > limit && len(after) < k {
				after = append(after, p)
			}
		}
		if got := o.upTo(limit, k); !slices.Equal(got, upTo) {
			t.Fatalf("upTo(%d, %d) = %v, want %v", limit, k, got, upTo)
		}
		if got := o.after(limit, k); !slices.Equal(got, after) {
			t.Fatalf("after(%d, %d) = %v, want %v", limit, k, got, after)
		}
	})
}
