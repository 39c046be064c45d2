package regimen

import (
	"fmt"
	"strings"
	"time"

	"hearthline/internal/journal"
)

// Clock is a time of day in minutes after midnight, 0 to 1439. It is written "07:00".
type Clock int16

// NoClock stands where no time of day was given.
const NoClock Clock = -1

// ParseClock reads "07:00": two digits each, 00:00 to 23:59.
func ParseClock(s string) (Clock, error) {
	if len(s) == 5 && s[2] == ':' {
		h, m := digits2(s[:2]), digits2(s[3:])
		if h >= 0 && h < 24 && m >= 0 && m < 60 {
			return Clock(h*60 + m), nil
		}
	}
	return 0, fmt.Errorf("%q is not a time of day; write it as \"HH:MM\", 00:00 to 23:59", s)
}

func digits2(s string) int {
	if s[0] < '0' || s[0] > '9' || s[1] < '0' || s[1] > '9' {
		return -1
	}
	return int(s[0]-'0')*10 + int(s[1]-'0')
}

// String returns "07:00".
func (c Clock) String() string { return fmt.Sprintf("%02d:%02d", int(c)/60, int(c)%60) }

// MarshalText writes "07:00", and nothing for NoClock.
func (c Clock) MarshalText() ([]byte, error) {
	if c == NoClock {
		return nil, nil
	}
	return []byte(c.String()), nil
}

// UnmarshalText reads what MarshalText wrote.
func (c *Clock) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*c = NoClock
		return nil
	}
	v, err := ParseClock(string(b))
	if err == nil {
		*c = v
	}
	return err
}

// Weekdays is a set of days of the week, bit 0 for Sunday. Zero means every
// day. It is written as a list, ["mon", "tue"].
type Weekdays uint8

const everyDay Weekdays = 0x7f

var dayNames = [7]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// Has reports whether the set holds d; the empty set holds every day.
func (w Weekdays) Has(d time.Weekday) bool { return w == 0 || w&(1<<d) != 0 }

func parseWeekday(s string) (time.Weekday, bool) {
	for i, n := range dayNames {
		if strings.EqualFold(s, n) {
			return time.Weekday(i), true
		}
	}
	return 0, false
}

// Names returns the days in the set from Monday on; nil for every day.
func (w Weekdays) Names() []string {
	if w == 0 {
		return nil
	}
	var out []string
	for i := 1; i <= 7; i++ {
		if d := time.Weekday(i % 7); w&(1<<d) != 0 {
			out = append(out, dayNames[d])
		}
	}
	return out
}

// dayIndex counts local calendar days since 1970-01-01.
type dayIndex int32

func dayIndexOf(y int, m time.Month, d int) dayIndex {
	return dayIndex(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

func (d dayIndex) weekday() time.Weekday {
	// 1970-01-01 was a Thursday.
	return time.Weekday(((int(d)+4)%7 + 7) % 7)
}

func (d dayIndex) date() (int, time.Month, int) {
	return time.Unix(int64(d)*86400, 0).UTC().Date()
}

// day returns d as the journal writes it.
func (d dayIndex) day() journal.Day {
	var b [10]byte
	return journal.Day(d.append(b[:0]))
}

func (d dayIndex) append(b []byte) []byte {
	y, m, dd := d.date()
	return append(b,
		byte('0'+y/1000%10), byte('0'+y/100%10), byte('0'+y/10%10), byte('0'+y%10), '-',
		byte('0'+m/10), byte('0'+m%10), '-',
		byte('0'+dd/10), byte('0'+dd%10))
}

// parseDay is the inverse of day; ok is false for what is not a date.
func parseDay(s journal.Day) (dayIndex, bool) {
	t, err := time.Parse("2006-01-02", string(s))
	if err != nil {
		return 0, false
	}
	return dayIndex(t.Unix() / 86400), true
}

// Instant returns when a wall clock in loc that shows minute (after the
// midnight that begins the local date; it may be below 0 or above 1439) does so
// for the first time. A time that a clock change skips happens at the first
// instant after the gap.
//
// time.Date is not used: it "does not guarantee which" of two instants it
// returns, and moves a skipped time back before the gap.
func Instant(loc *time.Location, year int, month time.Month, day, minute int) time.Time {
	return time.Unix(resolve(loc, dayIndexOf(year, month, day), minute), 0).In(loc)
}

// resolve is Instant in Unix seconds.
func resolve(loc *time.Location, d dayIndex, minute int) int64 {
	u := int64(d)*86400 + int64(minute)*60 // the reading, as if the zone were UTC
	// Offsets lie within 26 h of each other; begin with the rules in force a
	// day and a half before and walk on. The first period that shows the
	// reading has the first instant of it.
	s := spanAt(loc, u-36*3600)
	for {
		x := u - s.offset
		if x < s.start {
			return s.start // the clock jumped over the reading when this period began
		}
		if x < s.end {
			return x
		}
		s = spanAt(loc, s.end)
	}
}

// zoneSpan is a stretch [start, end) in Unix seconds over which a zone keeps one offset.
type zoneSpan struct{ start, end, offset int64 }

func spanAt(loc *time.Location, x int64) zoneSpan {
	t := time.Unix(x, 0).In(loc)
	_, off := t.Zone()
	start, end := t.ZoneBounds()
	s := zoneSpan{start: -1 << 62, end: 1 << 62, offset: int64(off)}
	if !start.IsZero() {
		s.start = start.Unix()
	}
	if !end.IsZero() {
		s.end = end.Unix()
	}
	if s.end <= x {
		// Beyond a zone's table (2037), ZoneBounds is a day short at the end of
		// a leap year and returns a span that x is not in. The offset is right.
		s.end = x + day24h
	}
	return s
}

// localDay returns the local calendar day and minute of x in loc.
func localDay(loc *time.Location, x int64) (dayIndex, int) {
	_, off := time.Unix(x, 0).In(loc).Zone()
	u := x + int64(off)
	d := floorDiv(u, 86400)
	return dayIndex(d), int((u - d*86400) / 60)
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
