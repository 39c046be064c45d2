package regimen

import (
	"strings"

	"hearthline/internal/journal"
)

// The GSM 03.38 default alphabet, and the characters of its extension table,
// which take two places (3GPP TS 23.038, 6.2.1).
const (
	gsmBasic = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
	gsmExt   = "^{}\\[~]|€"
)

// asciiPlaces has the places of each character below 128, 0 for those that need UCS-2.
var asciiPlaces = func() (t [128]int8) {
	for r := range rune(128) {
		if strings.ContainsRune(gsmBasic, r) {
			t[r] = 1
		} else if strings.ContainsRune(gsmExt, r) {
			t[r] = 2
		}
	}
	return t
}()

func gsmPlaces(r rune) int {
	switch {
	case r < 128:
		return int(asciiPlaces[r])
	case strings.ContainsRune(gsmBasic, r):
		return 1
	case strings.ContainsRune(gsmExt, r):
		return 2
	}
	return 0
}

// size is how much room a text takes, in either alphabet.
type size struct {
	places, units int  // GSM places, UTF-16 units
	ucs2          bool // it needs UCS-2
}

func sizeOf(text string) (s size) {
	for _, r := range text {
		s.units++
		if r > 0xFFFF {
			s.units++
		}
		n := gsmPlaces(r)
		s.places += n
		s.ucs2 = s.ucs2 || n == 0
	}
	return s
}

// Segments counts the SMS segments of a text. Composing goes by size, which is
// cheaper and adds up; what was composed is counted by the house's one counter,
// which also knows that no pair of units may be parted.
func Segments(text string) int { return journal.Segments(text).Parts }

// fits reports whether the sentences, joined by blanks, fit two segments. A
// character of two places cannot be cut, so that one place is left free in each.
func fits(ps []piece) bool {
	sum := size{places: len(ps) - 1, units: len(ps) - 1}
	for i := range ps {
		s := ps[i].size
		sum.places, sum.units, sum.ucs2 = sum.places+s.places, sum.units+s.units, sum.ucs2 || s.ucs2
	}
	if sum.ucs2 {
		return sum.units <= 2*(67-1)
	}
	return sum.places <= 2*(153-1)
}
