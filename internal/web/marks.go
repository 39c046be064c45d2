package web

import (
	"slices"
	"strings"
	"unicode/utf8"

	"hearthline/internal/reply"
)

// piece is a part of a person's words: plain, marked because it decided what
// follows, or noted because it was read as something that is not so now.
type piece struct {
	Text   string
	Marked bool
	Noted  bool
}

type stretch struct {
	start, end int
	marked     bool
}

// markWords cuts said into pieces, in which the first occurrence of each of
// words is marked.
func markWords(said string, words []string) []piece {
	var at []stretch
	for _, w := range words {
		if w == "" {
			continue
		}
		if i := strings.Index(said, w); i >= 0 {
			at = append(at, stretch{i, i + len(w), true})
		}
	}
	return cut(said, at)
}

// markFacts cuts body at the facts of its reading: what is present or possible
// is marked, the rest noted. Offsets that are not of this body are left out.
func markFacts(body string, facts []reply.Fact) []piece {
	var at []stretch
	for _, f := range facts {
		if f.Start < 0 || f.End > len(body) || f.Start >= f.End || body[f.Start:f.End] != f.Quote {
			continue
		}
		at = append(at, stretch{f.Start, f.End, f.Status == reply.Present || f.Status == reply.Possible})
	}
	return cut(body, at)
}

// cut makes pieces that together are s, byte for byte. Where stretches overlap,
// marked wins.
func cut(s string, at []stretch) []piece {
	var edges []int
	for _, a := range at {
		edges = append(edges, a.start, a.end)
	}
	edges = append(edges, 0, len(s))
	slices.Sort(edges)
	edges = slices.Compact(edges)
	var out []piece
	for i := range len(edges) - 1 {
		from, to := edges[i], edges[i+1]
		if !utf8.RuneStart(s[from]) {
			return []piece{{Text: s}} // an edge inside a character: show the words, unmarked
		}
		p := piece{Text: s[from:to]}
		for _, a := range at {
			if a.start <= from && to <= a.end {
				p.Marked = p.Marked || a.marked
				p.Noted = p.Noted || !a.marked
			}
		}
		p.Noted = p.Noted && !p.Marked
		if n := len(out); n > 0 && out[n-1].Marked == p.Marked && out[n-1].Noted == p.Noted {
			out[n-1].Text += p.Text
			continue
		}
		out = append(out, p)
	}
	return out
}
