package journal

import (
	"strings"
	"testing"
)

// The edges are those of 3GPP TS 23.038 and 23.040: 160/153 septets, 70/67
// UTF-16 units, two septets for an extended character, and no pair split.
func TestSegmentsAtThePublishedEdges(t *testing.T) {
	a := func(n int) string { return strings.Repeat("a", n) }
	c := func(n int) string { return strings.Repeat("č", n) }
	for _, tc := range []struct {
		name string
		text string
		want SegmentCount
	}{
		{"nothing", "", SegmentCount{}},
		{"one full part", a(160), SegmentCount{1, 160, false}},
		{"one over", a(161), SegmentCount{2, 161, false}},
		{"two full parts", a(306), SegmentCount{2, 306, false}},
		{"one over two", a(307), SegmentCount{3, 307, false}},
		{"an extended character at the edge", a(159) + "€", SegmentCount{2, 161, false}},
		{"an extended character that just fits", a(158) + "€", SegmentCount{1, 160, false}},
		{"an escape pair may not be split", a(152) + "€" + a(152), SegmentCount{3, 306, false}},
		{"UCS-2, one full part", c(70), SegmentCount{1, 70, true}},
		{"UCS-2, one over", c(71), SegmentCount{2, 71, true}},
		{"UCS-2, two full parts", c(134), SegmentCount{2, 134, true}},
		{"UCS-2, one over two", c(135), SegmentCount{3, 135, true}},
		{"a surrogate pair may not be split", c(66) + "😀" + c(66), SegmentCount{3, 134, true}},
		{"the degree sign is outside", "38°C", SegmentCount{1, 4, true}},
		{"so is the Spanish i with accent", "sí", SegmentCount{1, 2, true}},
		{"e with accent is inside", "bebé", SegmentCount{1, 4, false}},
		{"a curly quote is outside", "don’t", SegmentCount{1, 5, true}},
	} {
		if got := Segments(tc.text); got != tc.want {
			t.Errorf("%s: Segments = %+v, want %+v", tc.name, got, tc.want)
		}
	}
}

// TS 23.038 counts 128 codes with the escape among them, and ten extended ones.
func TestTheAlphabetHasItsPublishedSize(t *testing.T) {
	one, two := 0, 0
	for _, c := range gsmCost {
		if c == 1 {
			one++
		} else {
			two++
		}
	}
	if one != 127 || two != 10 {
		t.Errorf("alphabet has %d single and %d extended characters, want 127 and 10", one, two)
	}
}
