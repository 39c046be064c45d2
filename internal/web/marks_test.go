package web

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"hearthline/internal/reply"
)

func TestMarkWords(t *testing.T) {
	for _, tt := range []struct {
		said  string
		words []string
		want  []piece
	}{
		{trouble, []string{"threw up twice"}, []piece{{Text: "gave 150 then he "}, {Text: "threw up twice", Marked: true}}},
		{"a b c", []string{"a", "c"}, []piece{{Text: "a", Marked: true}, {Text: " b "}, {Text: "c", Marked: true}}},
		{"abc", []string{"ab", "bc"}, []piece{{Text: "abc", Marked: true}}}, // overlapping
		{"abc", []string{"x", ""}, []piece{{Text: "abc"}}},
		{"vomitó", []string{"vomitó"}, []piece{{Text: "vomitó", Marked: true}}},
		{"", nil, nil},
	} {
		if d := cmp.Diff(tt.want, markWords(tt.said, tt.words)); d != "" {
			t.Errorf("markWords(%q, %q) (-want +got):\n%s", tt.said, tt.words, d)
		}
	}
}

func TestMarkFactsKeepsToTheBody(t *testing.T) {
	body := "no fever, vomitó"
	fact := func(status string, start, end int) reply.Fact {
		q := ""
		if start >= 0 && end <= len(body) && start < end {
			q = body[start:end]
		}
		return reply.Fact{Status: status, Start: start, End: end, Quote: q}
	}
	got := markFacts(body, []reply.Fact{fact(reply.Absent, 0, 8), fact(reply.Present, 10, 17), fact(reply.Present, -1, 3),
		fact(reply.Present, 5, 500), {Status: reply.Present, Start: 0, End: 2, Quote: "of another text"}})
	want := []piece{{Text: "no fever", Noted: true}, {Text: ", "}, {Text: "vomitó", Marked: true}}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// FuzzMarks: whatever is marked, the pieces together are the words as written.
func FuzzMarks(f *testing.F) {
	f.Add("gave 150 then he threw up", "threw", 3, 8)
	f.Add("ñandú \xff", "\xff", -1, 99)
	f.Fuzz(func(t *testing.T, body, word string, start, end int) {
		facts := []reply.Fact{{Status: reply.Present, Start: start, End: end}, {Status: reply.Absent, Start: end, End: start}}
		for i := range facts {
			if a, b := facts[i].Start, facts[i].End; a >= 0 && b <= len(body) && a < b {
				facts[i].Quote = body[a:b]
			}
		}
		for _, ps := range [][]piece{markFacts(body, facts), markWords(body, []string{word})} {
			var b strings.Builder
			for _, p := range ps {
				b.WriteString(p.Text)
				if utf8.ValidString(body) && !utf8.ValidString(p.Text) {
					t.Errorf("a character of %q is cut", body)
				}
			}
			if b.String() != body {
				t.Errorf("pieces of %q are %q", body, b.String())
			}
		}
	})
}

func TestPartsFillTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := func(name string) int64 { return rapid.Int64Range(0, 5000).Draw(t, name) }
		s := splitOf(n("given"), n("short"), n("not reported"), n("not asked"), n("held"))
		var reached, sum int64
		for _, p := range partsOf(s) {
			if p.Over != reached || p.Span < 0 {
				t.Fatalf("%s begins at %d, the part before ends at %d", p.Key, p.Over, reached)
			}
			reached, sum = p.Over+p.Span, sum+p.ML
		}
		if s.Prescribed > 0 && (reached != 1000 || sum != s.Prescribed) {
			t.Fatalf("parts reach %d of 1000 and hold %d of %d mL", reached, sum, s.Prescribed)
		}
	})
}
