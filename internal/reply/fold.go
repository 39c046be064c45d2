package reply

import (
	"unicode"
	"unicode/utf8"
)

// folded maps letters with a mark to their plain lower-case letter, so that
// "vómito", "VOMITO" and "vomito" are one word. Two-letter folds (ß, æ) are
// left alone: no list uses them.
var folded = func() (t [0x250]byte) {
	for plain, marked := range map[byte]string{
		'a': "àáâãäåāăą", 'c': "çćĉċč", 'd': "ďđ", 'e': "èéêëēĕėęě", 'g': "ĝğġģ", 'h': "ĥħ",
		'i': "ìíîïĩīĭįı", 'j': "ĵ", 'k': "ķ", 'l': "ĺļľł", 'n': "ñńņň", 'o': "òóôõöøōŏő",
		'r': "ŕŗř", 's': "śŝşš", 't': "ţťŧ", 'u': "ùúûüũūŭůűų", 'w': "ŵ", 'y': "ýÿŷ", 'z': "źżž",
	} {
		for _, r := range marked {
			t[r] = plain
			if up := unicode.ToUpper(r); up != r && int(up) < len(t) {
				t[up] = plain
			}
		}
	}
	for c := 'a'; c <= 'z'; c++ {
		t[c] = byte(c)
		t[c-'a'+'A'] = byte(c)
	}
	return t
}()

// appendFolded appends the folded form of r: a lower-case letter without marks,
// or nothing for a combining mark.
func appendFolded(b []byte, r rune) []byte {
	if int(r) < len(folded) && r >= 0 && folded[r] != 0 {
		return append(b, folded[r])
	}
	if unicode.Is(unicode.Mn, r) {
		return b
	}
	return utf8.AppendRune(b, unicode.ToLower(r))
}

// fold folds a whole string; it is what lists are folded with at load.
func fold(s string) string {
	b := make([]byte, 0, len(s))
	for _, r := range s {
		b = appendFolded(b, r)
	}
	return string(b)
}

// shortened appends to b the word w with every run of three or more equal
// letters cut to keep letters: "nooooo" is "noo" or "no".
func shortened(b, w []byte, keep int) []byte {
	run := 0
	for i, c := range w {
		if i > 0 && c == w[i-1] {
			run++
		} else {
			run = 1
		}
		if run <= keep || runLength(w, i) < 3 {
			b = append(b, c)
		}
	}
	return b
}

// runLength is the length of the run of equal bytes that w[i] stands in.
func runLength(w []byte, i int) int {
	from, to := i, i
	for from > 0 && w[from-1] == w[i] {
		from--
	}
	for to+1 < len(w) && w[to+1] == w[i] {
		to++
	}
	return to - from + 1
}

// stretched tells whether w has a run of three or more equal letters.
func stretched(w []byte) bool {
	for i := 2; i < len(w); i++ {
		if w[i] == w[i-1] && w[i] == w[i-2] {
			return true
		}
	}
	return false
}
