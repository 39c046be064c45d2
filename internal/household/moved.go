package household

import (
	"strconv"
	"strings"
	"time"
	"unicode"

	"hearthline/internal/journal"
	"hearthline/internal/ledger"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
)

// moved notes when a feed really began, stood still or stopped, where the text
// says so. That moves this feed's end and what hangs on it, and nothing of
// tomorrow. It returns the occurrence that was moved, "" for none.
func (d *decision) moved(t *reading) (moved string) {
	day, occurrence, ok := d.feedOf(t.prompt)
	if t.prompt != nil && t.prompt.Occurrence != "" {
		day, occurrence, ok = t.prompt.Day, t.prompt.Occurrence, true
	}
	if !ok {
		return ""
	}
	feed, _ := d.due(occurrence)
	for _, m := range t.Moments {
		e := journal.Done{Day: day, Occurrence: occurrence, Done: true, Text: t.id}
		if t.prompt != nil {
			e.Prompt = t.prompt.ID
		}
		known := true
		e.When, known = d.instantOf(t, m, feed)
		kind := m.Kind
		if kind == "at" && t.prompt != nil && t.prompt.Asks == "feed_start" {
			kind = "started"
		}
		switch kind {
		case "started":
			if e.What = "feed_start"; e.When == 0 {
				continue // a start with no time is the answer to a prompt, or nothing
			}
		case "stopped":
			e.What, t.stopped = "feed_stop", true
		case "paused":
			if e.What = "feed_pause"; m.Minutes != nil {
				e.Minutes, e.When = *m.Minutes, 0
			}
		case "resumed":
			e.What, e.Done = "feed_pause", false
		default:
			continue
		}
		if !known { // a time that cannot be: better nothing than a wrong end that looks confirmed
			t.oddTime = true
			continue
		}
		d.add(journal.Entry{Kind: journal.KindDone, Done: &e})
		moved = occurrence
	}
	return moved
}

// due finds a prescribed feed of the days that are kept.
func (d *decision) due(occurrence string) (ledger.Feed, bool) {
	for _, day := range d.s.Days {
		for _, f := range day.Feeds {
			if f.Occurrence == occurrence {
				return f, true
			}
		}
	}
	return ledger.Feed{}, false
}

// instantOf returns the instant of a moment: so many minutes ago, just now, or
// the latest time before now at which the household's clock showed it. A time
// without its half of the day is taken for the later half that fits the feed.
// It is 0 where the text gives none, and not known where it gives one that
// cannot be.
func (d *decision) instantOf(t *reading, m reply.Moment, feed ledger.Feed) (at journal.Millis, known bool) {
	switch {
	case m.Clock == "" && m.Minutes != nil && m.Kind == "started":
		return d.at() - journal.Millis(*m.Minutes*60_000), true
	case m.Clock == "":
		if _, now := only(d.w.Asking.JustNow, plainWords(t.body), says); now {
			return d.at(), true
		}
		return 0, true
	}
	times := []journal.Millis{d.lastAt(m.Clock)}
	if other, ambiguous := otherHalf(m, t.body); ambiguous {
		times = append(times, d.lastAt(other))
	}
	for _, each := range times {
		if each > at && (feed.Start == 0 || each >= feed.Start-millis(d.w.Asking.StartEarly.Minutes)) {
			at = each
		}
	}
	return at, at != 0
}

// otherHalf returns the same time in the other half of the day, where the text
// does not say which half it means.
func otherHalf(m reply.Moment, body string) (string, bool) {
	hm, err := time.Parse("15:04", m.Clock)
	if err != nil || hm.Hour() > 12 || m.Start < 0 || m.End > len(body) || m.Start > m.End {
		return "", false
	}
	around := strings.ToLower(body[m.Start:min(len(body), m.End+6)])
	for _, said := range []string{"am", "a.m", "pm", "p.m", "a m", "p m"} {
		if strings.Contains(around, said) {
			return "", false
		}
	}
	return hm.Add(12 * time.Hour).Format("15:04"), true
}

// afterMove tells the family when a moved feed ends now, and to keep the rate;
// or asks whether it is done, where by the report it should have ended.
func (d *decision) afterMove(t reading) bool {
	plan, err := d.plan()
	if err != nil || plan == nil {
		return false
	}
	d.mustDecide(t, plan)
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

// mustDecide puts a moved feed that can neither end in time nor run on before a
// nurse: the text that says so promises her.
func (d *decision) mustDecide(t reading, plan *regimen.Plan) {
	if !plan.MustDecide(t.moved, d.s.Actual) {
		return
	}
	facts := d.facts()
	facts.Triggers = []string{"worry"}
	if v, wrong := d.w.Protocols.Judge(facts); wrong {
		v.Advice = "" // the text about the feed's end says that a nurse decides
		d.raise(v, cause{text: t.id, said: t.body, why: "a late feed can neither end in time nor run on", from: t.from, to: d.sender(t), facts: facts})
	}
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

// afterStop tells a family that stopped a feed what is still to be done for the
// tube, and asks what nobody said.
func (d *decision) afterStop(t reading) {
	flush := "0"
	if p, known := d.s.prescription(); known {
		flush = strconv.FormatInt(int64(p.Flush.AfterML), 10)
	}
	key := "stopped.noted"
	if t.GivenML == nil {
		key = "stopped.ask"
		day, _, _ := strings.Cut(t.moved, "/")
		f, _ := d.due(t.moved)
		d.add(journal.Entry{Kind: journal.KindPrompted, Prompted: &journal.Prompted{ID: journal.TextID(d.makeID()), At: d.s.Asked,
			Day: journal.Day(day), Acts: marshal([]regimen.Act{}), Asks: string(regimen.AskFeedEnd), Feed: f.Feed, Occurrence: t.moved,
			ExpectedML: f.ML, To: []journal.CaregiverRef{t.from.Ref}}})
	}
	d.send(d.sender(t), journal.ClassAnswer, d.tagged(d.say(t.from.Lang, key, map[string]string{"ml": flush})), "answer", "", false)
}

// mustNotStop reports whether the household's feed must not stop for long.
func (d *decision) mustNotStop() bool {
	p, known := d.s.prescription()
	return known && p.LongestGapH > 0
}
