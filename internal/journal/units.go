package journal

import (
	"fmt"
	"time"
)

// ML is a volume in whole millilitres, as caregivers report and ledgers add up.
type ML int64

// Minutes is a span in whole minutes, as answer-by times are written in flows/.
type Minutes int64

// Duration returns m as elapsed time.
func (m Minutes) Duration() time.Duration { return time.Duration(m) * time.Minute }

// Millis is an instant: milliseconds since 1970-01-01T00:00:00Z. Zero means "no such instant".
type Millis int64

// At converts an instant; the zero time becomes 0.
func At(t time.Time) Millis {
	if t.IsZero() {
		return 0
	}
	return Millis(t.UnixMilli())
}

// Time converts back, in UTC; 0 becomes the zero time.
func (m Millis) Time() time.Time {
	if m == 0 {
		return time.Time{}
	}
	return time.UnixMilli(int64(m)).UTC()
}

// Day names a feed day by the local date on which it starts, "2026-05-02".
type Day string

// DayOf returns the Day that starts at t, in t's own zone.
func DayOf(t time.Time) Day { return Day(t.Format("2006-01-02")) }

// Half-up rounding of n/d to a whole number, for d > 0 and n >= 0.
func HalfUp(n, d int64) int64 {
	if d <= 0 || n < 0 {
		panic(fmt.Sprintf("journal.HalfUp(%d, %d): wants n >= 0 and d > 0", n, d))
	}
	return (2*n + d) / (2 * d)
}
