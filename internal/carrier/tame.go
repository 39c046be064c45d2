package carrier

import (
	"strings"
	"unicode"
)

// tameMost is how many characters of a carrier's own words are kept.
const tameMost = 200

// tame makes a carrier's words fit for a log and a page: one line, at most
// tameMost characters, and every run of five or more digits, which may be
// somebody's number, replaced by "…". Digits parted by spaces, dots, dashes or
// brackets count as one run.
func tame(s string) string {
	var out strings.Builder
	n := 0
	rest := []rune(strings.Map(printable, s)) // first, or a hidden character could part a number
	for i := 0; i < len(rest) && n < tameMost; n++ {
		if end, digits := numberEnd(rest, i); digits >= 5 {
			out.WriteRune('…')
			i = end
			continue
		}
		out.WriteRune(rest[i])
		i++
	}
	return strings.TrimSpace(out.String())
}

func printable(r rune) rune {
	if unicode.IsPrint(r) {
		return r
	}
	return ' '
}

// numberEnd returns where the number that begins at i ends and how many digits it has.
func numberEnd(s []rune, i int) (end, digits int) {
	end = i
	for j := i; j < len(s); j++ {
		switch {
		case unicode.IsDigit(s[j]):
			digits++
			end = j + 1
		case j > i && strings.ContainsRune(" .-()/", s[j]), j == i && (s[j] == '+' || s[j] == '('):
		default:
			return end, digits
		}
	}
	return end, digits
}
