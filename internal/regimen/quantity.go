package regimen

import (
	"fmt"
	"strconv"
	"strings"
)

// Milli is an exact decimal with three places, kept in thousandths: a rate of
// 55.5 mL/h is 55500, an energy density of 1.5 kcal/mL is 1500. It is written
// as a plain number in JSON and YAML.
type Milli int64

// String returns the shortest decimal, "55.5".
func (m Milli) String() string {
	sign := ""
	n := int64(m)
	if n < 0 {
		sign, n = "-", -n
	}
	s := sign + strconv.FormatInt(n/1000, 10)
	if f := n % 1000; f != 0 {
		s += "." + strings.TrimRight(fmt.Sprintf("%03d", f), "0")
	}
	return s
}

// MarshalJSON writes the number as String does.
func (m Milli) MarshalJSON() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalJSON reads a plain decimal with at most three places.
func (m *Milli) UnmarshalJSON(b []byte) error {
	v, err := parseMilli(string(b))
	if err != nil {
		return err
	}
	*m = v
	return nil
}

// parseMilli reads "12", "12.5", "-3.125": no exponent, no sign "+", no leading
// zero ("010" is eight to some readers), at most three decimal places.
func parseMilli(s string) (Milli, error) {
	bad := fmt.Errorf("%q is not a plain decimal number with at most three places", s)
	digits, neg := s, false
	if strings.HasPrefix(digits, "-") {
		digits, neg = digits[1:], true
	}
	whole, frac, dot := strings.Cut(digits, ".")
	if whole == "" || len(whole) > 9 || (dot && frac == "") || len(frac) > 3 || (len(whole) > 1 && whole[0] == '0') {
		return 0, bad
	}
	n := int64(0)
	for _, c := range whole + (frac + "000")[:3] {
		if c < '0' || c > '9' {
			return 0, bad
		}
		n = n*10 + int64(c-'0')
	}
	if neg {
		n = -n
	}
	return Milli(n), nil
}

// halfUp divides n by d > 0, rounding half up (towards +infinity for ties);
// n >= 0 here always.
func halfUp(n, d int64) int64 { return (2*n + d) / (2 * d) }
