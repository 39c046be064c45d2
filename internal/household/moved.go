package household

import (
	"strconv"
	"strings"
	"unicode"

	"hearthline/internal/journal"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
)

// moved notes when a feed really began, stood still or stopped, where the text
// says so. That moves this feed's end and what hangs on it, and nothing of
// tomorrow. It returns the occurrence that was moved, "" for none.
func (d *decision) moved(t reading) (moved string) {
	day, occurrence, ok := d.feedOf(t.prompt)
	if t.prompt != nil && t.prompt.Occurrence != "" {
		day, occurrence, ok = t.prompt.Day, t.prompt.Occurrence, true
	}
	if !ok {
		return ""
	}
	for _, m := range t.Moments {
		e := journal.Done{Day: day, Occurrence: occurrence, Done: true, Text: t.id, When: d.instantOf(m)}
		if t.prompt != nil {
			e.Prompt = t.prompt.ID
		}
		switch m.Kind {
		case "started":
			if e.What = "feed_start"; m.Clock == "" {
				continue // a start with no time is the answer to a prompt, or nothing
			}
		case "stopped":
			e.What = "feed_stop"
		case "paused":
			if e.What = "feed_pause"; m.Minutes != nil {
				e.Minutes = *m.Minutes
			}
		case "resumed":
			e.What, e.Done = "feed_pause", false
		default:
			continue
		}
		d.add(journal.Entry{Kind: journal.KindDone, Done: &e})
		moved = occurrence
	}
	return moved
}

// afterMove tells the family when a moved feed ends now, and to keep the rate;
// or asks whether it is done, where by the report it should have ended.
func (d *decision) afterMove(t reading) bool {
	plan, err := d.plan()
	if err != nil || plan == nil {
		return false
	}
	body, ask, ok := plan.AfterReport(t.moved, d.now.In(d.zone()), d.s.Actual, d.phrases(t.from.Lang))
	if !ok {
		return false
	}
	if ask.Kind != regimen.AskNothing {
		day, _, _ := strings.Cut(t.moved, "/")
		d.add(journal.Entry{Kind: journal.KindPrompted, Prompted: &journal.Prompted{ID: journal.TextID(d.makeID()), At: d.s.Asked,
			Day: journal.Day(day), Acts: marshal([]regimen.Act{}), Asks: string(ask.Kind), Feed: ask.Feed, Occurrence: ask.Occurrence,
			ExpectedML: ask.ExpectedML, ContainerML: ask.ContainerML, To: []journal.CaregiverRef{t.from.Ref}}})
	}
	d.send(d.sender(t), journal.ClassAnswer, d.tagged(body), "answer", "", false)
	return true
}

// instantOf returns the instant of a moment: the latest time before now at
// which the household's clock showed it; 0 where it gives no time of day.
func (d *decision) instantOf(m reply.Moment) journal.Millis {
	if m.Clock == "" {
		return 0
	}
	return d.lastAt(m.Clock)
}

// readBack holds what the pump shows against the changed order: whether the
// text tells a rate at all, and whether it is another one.
func (d *decision) readBack(t reading) (reads, unlike bool) {
	p := t.prompt
	shown := rates(t.body)
	if len(shown) == 0 {
		return false, false
	}
	for _, rate := range shown {
		if rate == p.ReadBack {
			d.add(journal.Entry{Kind: journal.KindDone, Done: &journal.Done{Day: p.Day, What: "read_back", Occurrence: p.Occurrence, Prompt: p.ID, Done: true, Text: t.id}})
			return true, false
		}
	}
	d.add(journal.Entry{Kind: journal.KindDone, Done: &journal.Done{Day: p.Day, What: "read_back", Occurrence: p.Occurrence, Prompt: p.ID, Done: false, Text: t.id}})
	return true, true
}

// rates returns the numbers of a text, in thousandths: "70", "72.5", "72,5".
func rates(body string) []int64 {
	var out []int64
	for _, w := range strings.FieldsFunc(body, func(r rune) bool { return !unicode.IsDigit(r) && r != '.' && r != ',' }) {
		w = strings.Trim(strings.ReplaceAll(w, ",", "."), ".")
		if f, err := strconv.ParseFloat(w, 64); err == nil && f < 10_000 {
			out = append(out, int64(f*1000+0.5))
		}
	}
	return out
}
