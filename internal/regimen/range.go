package regimen

import (
	"time"

	"hearthline/internal/journal"
)

// DayStart returns the instant at which the feed day of that date starts, in
// the zone in force then.
func (p *Plan) DayStart(day journal.Day) (time.Time, bool) {
	d, ok := parseDay(day)
	if !ok {
		return time.Time{}, false
	}
	o := p.orderAt(resolve(p.orders[0].loc, d, 720))
	return time.Unix(resolve(o.loc, d, o.dayStart), 0).In(o.loc), true
}

// Prompts returns the prompts of n feed days from day on, in order of time.
// It is a walk with Next, so that what is printed is what will be sent.
func (p *Plan) Prompts(day journal.Day, n int, now Actual) []Prompt {
	d, ok := parseDay(day)
	start, _ := p.DayStart(day)
	if !ok || n < 1 {
		return nil
	}
	last := (d + dayIndex(n-1)).day()
	var out []Prompt
	var s scratch
	for x := start.Unix() - 1 - 3600; ; {
		pr, ok := p.next(x, &now, &s)
		// A text of the last day can follow one of the day after it, in the quiet hours' end.
		if !ok || pr.At.Unix() > start.Unix()+int64(n+2)*day24h {
			return out
		}
		if pr.Day >= day && pr.Day <= last {
			out = append(out, pr)
		}
		x = pr.At.Unix()
	}
}

// DayAfter returns the date n days on.
func DayAfter(day journal.Day, n int) journal.Day {
	d, ok := parseDay(day)
	if !ok {
		return day
	}
	return (d + dayIndex(n)).day()
}

// Night reports whether the prompt goes out in the family's quiet hours.
func (p *Plan) Night(pr Prompt) bool {
	o := p.orderAt(pr.At.Unix())
	return o.quietClock(Clock(pr.At.In(o.loc).Hour()*60 + pr.At.In(o.loc).Minute()))
}

// Languages are those of the order in force at t.
func (p *Plan) Languages(t time.Time) []string { return p.orderAt(t.Unix()).p.Languages }
