package mem

import (
	"cmp"
	"slices"
	"sort"
)

// order is a set of ids, each with a score, kept by score and then by id in
// byte order: what a Redis sorted set is. Setting and removing cost the
// logarithm of its size plus one chunk.
type order struct {
	at     map[string]int64
	chunks [][]place // each sorted and never empty
}

type place struct {
	score int64
	id    string
}

// maxChunk keeps the cost of moving places within a chunk small (a chunk is
// 6 KB) while a million ids need no more than some thousands of chunks.
const maxChunk = 256

func newOrder() *order { return &order{at: map[string]int64{}} }

func compare(a, b place) int {
	if c := cmp.Compare(a.score, b.score); c != 0 {
		return c
	}
	return cmp.Compare(a.id, b.id)
}

func (o *order) len() int { return len(o.at) }

// chunkOf is the first chunk whose last place is not before p.
func (o *order) chunkOf(p place) int {
	return sort.Search(len(o.chunks), func(i int) bool {
		c := o.chunks[i]
		return compare(c[len(c)-1], p) >= 0
	})
}

func (o *order) set(id string, score int64) {
	if old, ok := o.at[id]; ok {
		if old == score {
			return
		}
		o.remove(id)
	}
	o.at[id] = score
	p := place{score, id}
	if len(o.chunks) == 0 {
		o.chunks = [][]place{{p}}
		return
	}
	i := min(o.chunkOf(p), len(o.chunks)-1)
	j, _ := slices.BinarySearchFunc(o.chunks[i], p, compare)
	o.chunks[i] = slices.Insert(o.chunks[i], j, p)
	if c := o.chunks[i]; len(c) > maxChunk {
		half := len(c) / 2
		o.chunks[i] = slices.Clone(c[:half])
		o.chunks = slices.Insert(o.chunks, i+1, slices.Clone(c[half:]))
	}
}

func (o *order) remove(id string) bool {
	score, ok := o.at[id]
	if !ok {
		return false
	}
	delete(o.at, id)
	p := place{score, id}
	i := o.chunkOf(p)
	j, _ := slices.BinarySearchFunc(o.chunks[i], p, compare)
	o.chunks[i] = slices.Delete(o.chunks[i], j, j+1)
	if len(o.chunks[i]) == 0 {
		o.chunks = slices.Delete(o.chunks, i, i+1)
	}
	return true
}

// upTo returns the first n places with a score of at most limit.
func (o *order) upTo(limit int64, n int) []place {
	var out []place
	for _, c := range o.chunks {
		for _, p := range c {
			if len(out) >= n || p.score > limit {
				return out
			}
			out = append(out, p)
		}
	}
	return out
}

// page returns n places from position from on.
func (o *order) page(from, n int) []place {
	var out []place
	for _, c := range o.chunks {
		if from >= len(c) {
			from -= len(c)
			continue
		}
		for _, p := range c[from:] {
			if len(out) >= n {
				return out
			}
			out = append(out, p)
		}
		from = 0
	}
	return out
}

// after returns the first n places with a score above score.
func (o *order) after(score int64, n int) []place {
	first := sort.Search(len(o.chunks), func(i int) bool {
		c := o.chunks[i]
		return c[len(c)-1].score > score
	})
	var out []place
	for _, c := range o.chunks[first:] {
		for _, p := range c {
			if p.score <= score {
				continue
			}
			if len(out) >= n {
				return out
			}
			out = append(out, p)
		}
	}
	return out
}
