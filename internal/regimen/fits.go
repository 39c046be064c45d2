package regimen

import "strings"

// The GSM 03.38 default alphabet, and the characters of its extension table,
// which take two places (3GPP TS 23.038, 6.2.1).
const (
	gsmBasic = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
	gsmExt   = "^{}\\[~]|€"
)

// Segments counts the SMS segments of a text: 160 places for one, 153 for each
// of several, or 70 and 67 UTF-16 units where the text needs UCS-2.
func Segments(text string) int {
	places, units, ucs2 := 0, 0, false
	for _, r := range text {
		units++
		if r > 0xFFFF {
			units++
		}
		switch {
		case strings.ContainsRune(gsmBasic, r):
			places++
		case strings.ContainsRune(gsmExt, r):
			places += 2
		default:
			ucs2 = true
		}
	}
	if ucs2 {
		return parts(units, 70, 67)
	}
	return parts(places, 160, 153)
}

func parts(n, one, each int) int {
	switch {
	case n == 0:
		return 0
	case n <= one:
		return 1
	}
	return (n + each - 1) / each
}

// maxSegments is what a text to a caregiver may take.
const maxSegments = 2

func fits(text string) bool {
	// A character of two places cannot be cut between segments: leave one place free in each.
	return Segments(text) <= maxSegments && (len(text) <= 150 || Segments(text+"..") <= maxSegments)
}
