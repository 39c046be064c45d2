package household

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
)

// text decides on a caregiver's text: it is read, journaled with its reading,
// what it reports is noted, and trouble becomes a case before anything else is said.
func (d *decision) text(ev TextCame) error {
	if d.s.Version == 0 && len(d.s.Caregivers) == 0 {
		d.add(journal.Entry{Kind: journal.KindStranger, Stranger: &journal.Stranger{Phone: ev.From}})
	}
	from, _ := d.s.byPhone(ev.From)
	if from.Ref != "" {
		d.by = "caregiver:" + string(from.Ref)
	} else {
		d.by = "unknown"
	}
	t := reading{from: from, shared: len(ev.Others) > 0 && !ev.Waits, first: ev.First, others: ev.Others, body: ev.Body, files: ev.Files}
	t.paused = d.s.Status == Paused
	t.prompt = d.answers(from)
	if ev.OtherWaits {
		t.prompt = nil
	}
	in := reply.Text{Text: d.s.withoutTag(ev.Body), Lang: from.Lang}
	if p := t.prompt; p != nil {
		in.Asked = &reply.Asked{Kind: p.Asks, ExpectedML: volume(p.ExpectedML), ContainerML: volume(p.ContainerML)}
	}
	t.Reading = d.w.Words.Read(in)
	if ev.OtherWaits && ev.Files == 0 && len(t.Present) == 0 && t.Handling != reply.Emergency {
		return nil // the other child's answer; trouble alone is put to both
	}
	heard := d.hear(t)
	if heard != nil && t.GivenML == nil {
		t.prompt = nil // "no" answers the question about the case, not the one about the feed
	}
	t.id = journal.TextID(d.makeID())
	d.add(journal.Entry{Kind: journal.KindTextIn, TextIn: d.textIn(ev, t)})
	if d.s.Status != Stranger {
		d.consent(t)
		if !t.shared {
			d.report(&t)
		}
	}
	if d.s.Status == Active && d.pauses(t) {
		d.pause(true, "asked by text", t.id)
	}
	switch {
	case heard != nil && len(t.Present) == 0 && t.Handling != reply.Emergency && t.files == 0:
		d.goOn(t, heard)
	case t.reads && !t.unlike && len(t.Present) == 0 && t.Handling != reply.Emergency:
		d.send(t.from, journal.ClassAnswer, d.tagged(d.say(t.from.Lang, "ack.done", nil)), "answer", "", false)
	case d.inform(t):
	case d.trouble(t):
	default:
		d.acknowledge(t)
	}
	return nil
}

// pauses reports whether being away stops the reminders: in hospital, or where
// the family asks for it. A trip alone is no pause: feeds may well go on there.
func (d *decision) pauses(t reading) bool {
	words := plainWords(d.s.withoutTag(t.body))
	if !t.has("pause") {
		_, asked := only(d.w.Asking.Pause, words, whole)
		return asked && len(t.Present) == 0
	}
	_, asked := only(d.w.Asking.Pause, words, func(words, phrases []string) bool {
		// "had to pause the feed" is about the pump: one word alone pauses the
		// reminders only when it is the whole text.
		return whole(words, phrases) || says(words, slices.DeleteFunc(slices.Clone(phrases), func(p string) bool { return !strings.Contains(p, " ") }))
	})
	return asked || t.Handling != reply.Auto
}

// textIn is the entry of a text: what it settles, and what it puts off.
func (d *decision) textIn(ev TextCame, t reading) *journal.TextIn {
	e := &journal.TextIn{ID: t.id, From: t.from.Ref, Carrier: ev.CarrierID, Got: ev.Got, Body: ev.Body, Files: ev.Files,
		Codes: t.Present, Reading: marshal(t.Reading)}
	if t.prompt == nil {
		return e
	}
	e.Prompt = t.prompt.ID
	switch {
	case t.has("later"):
		e.AgainAt = journal.At(d.now.Add(d.w.Asking.RemindLater.Minutes.Duration()))
	case t.prompt.Asks == "read_back":
		e.Settles = len(rates(t.body)) > 0
	case !t.shared && (t.Done != nil || t.GivenML != nil):
		e.Settles = true
	}
	return e
}

// reading is a text in the middle of its decision.
type reading struct {
	reply.Reading
	id       journal.TextID
	from     Caregiver
	prompt   *Prompt
	shared   bool // the same text went to other households of this phone too
	first    bool
	others   []string
	body     string
	files    int
	moved    string     // the occurrence whose times the text moved
	now      bool       // it says that the feed begins with the text
	stopped  bool       // it says that the feed was stopped
	oddTime  bool       // it gives a time of the feed that cannot be
	running  journal.ML // the same, where the feed should still run
	booked   journal.ML // what was prescribed of the feed that its amount was noted for
	unplaced bool       // an amount that belongs to no feed that has begun
	paused   bool       // the household was paused before this text
	reads    bool       // it tells a rate that was asked back
	unlike   bool       // the pump shows another rate than the changed order
}

// withoutTag blanks the household's tag out of a text, byte for byte, so that
// it counts as read and the quotes of the reading stay where they are.
func (s State) withoutTag(body string) string {
	if s.Tag == "" {
		return body
	}
	b := []byte(body)
	start := -1
	for i, r := range body + " " {
		word := unicode.IsLetter(r) || unicode.IsDigit(r)
		switch {
		case word && start < 0:
			start = i
		case !word && start >= 0:
			if s.named([]string{body[start:i]}) {
				for k := start; k < i; k++ {
					b[k] = ' '
				}
			}
			start = -1
		}
	}
	return string(b)
}

func (t reading) has(intent string) bool { return slices.Contains(t.Intent, intent) }

func volume(ml journal.ML) *int64 {
	if ml <= 0 {
		return nil
	}
	v := int64(ml)
	return &v
}

// answers returns the prompt that a text of this caregiver most likely
// answers: the newest that still waits, else the newest at all (a correction),
// none older than the window of flows/asking.yaml.
func (d *decision) answers(from Caregiver) *Prompt {
	oldest := d.at() - journal.Millis(d.w.Asking.AnswerWindow.Minutes.Duration().Milliseconds())
	var waiting, newest *Prompt
	for i := range d.s.Prompts {
		p := &d.s.Prompts[i]
		if p.Asks == "" || p.Sent < oldest || from.Ref == "" {
			continue
		}
		newest = p
		if !p.Settled {
			waiting = p
		}
	}
	if waiting == nil {
		waiting = newest
	}
	if waiting == nil {
		return nil
	}
	p := *waiting
	return &p
}

// report notes what the text says was given and done.
func (d *decision) report(t *reading) {
	if t.GivenML != nil {
		if day, occurrence, ok := d.feedOf(t.prompt); ok {
			d.add(journal.Entry{Kind: journal.KindFed, Fed: &journal.Fed{
				Day: day, Occurrence: occurrence, GivenML: journal.ML(*t.GivenML), Text: t.id}})
			if f, known := d.due(occurrence); known && f.End <= d.at() {
				t.booked = f.ML
			} else if known {
				t.running = f.ML
			}
		} else {
			t.unplaced = true
		}
	}
	t.moved = d.moved(t)
	p := t.prompt
	if p != nil && p.Asks == "read_back" {
		t.reads, t.unlike = d.readBack(*t)
		return
	}
	if p == nil || t.Done == nil {
		return
	}
	if _, now := only(d.w.Asking.JustNow, plainWords(t.body), says); now && *t.Done && p.Asks == "feed_start" {
		t.now, t.moved = true, p.Occurrence
	}
	if p.Asks == "feed_start" || p.Asks == "bag_change" || p.Asks == "flush" {
		d.act(*t, p.Asks, *t.Done)
	}
	if !*t.Done || (p.Asks == "feed_end" && strings.ContainsAny(t.body, "0123456789")) {
		return // an amount of formula says nothing of water or bag
	}
	// A flush or bag change said in the text of a feed shares its answer.
	for _, kind := range p.acts() {
		if kind != p.Asks && (kind == "flush" || kind == "bag_change") {
			d.act(*t, kind, true)
		}
	}
}

func (d *decision) act(t reading, what string, done bool) {
	p := t.prompt
	e := journal.Done{Day: p.Day, What: what, Occurrence: p.Occurrence, Prompt: p.ID, Done: done, Text: t.id}
	if what == "flush" && done {
		e.ML = p.FlushML
		if t.FlushML != nil {
			e.ML = journal.ML(*t.FlushML)
		}
	}
	if done {
		if e.When = d.moment(t, "at"); what == "feed_start" {
			e.When = 0 // a start with a time was noted as a moment, its half of the day weighed
		}
		if t.now {
			e.When = d.at()
		}
	}
	d.add(journal.Entry{Kind: journal.KindDone, Done: &e})
}

// moment returns the instant that the text gives for something; 0 where it says none.
func (d *decision) moment(t reading, kind string) journal.Millis {
	for _, m := range t.Moments {
		if m.Clock == "" || (m.Kind != kind && m.Kind != "at") {
			continue
		}
		if at := d.lastAt(m.Clock); at != 0 {
			return at
		}
	}
	return 0
}

// lastAt returns the latest instant before now at which the household's clock
// showed a time of day; 0 if that is half a day ago or more: too long to be meant.
func (d *decision) lastAt(clock string) journal.Millis {
	hm, err := time.Parse("15:04", clock)
	if err != nil {
		return 0
	}
	local := d.now.In(d.zone())
	at := regimen.Instant(local.Location(), local.Year(), local.Month(), local.Day(), hm.Hour()*60+hm.Minute())
	if at.After(d.now) {
		at = regimen.Instant(local.Location(), local.Year(), local.Month(), local.Day()-1, hm.Hour()*60+hm.Minute())
	}
	if d.now.Sub(at) >= 12*time.Hour {
		return 0
	}
	return journal.At(at)
}

// feedOf says which prescribed feed a reported volume belongs to: the one that
// was asked about, else the newest that has begun and was not reported yet,
// else the newest that has begun, within the answer window.
func (d *decision) feedOf(p *Prompt) (journal.Day, string, bool) {
	if p != nil && p.Asks == "feed_end" && p.Occurrence != "" {
		return p.Day, p.Occurrence, true
	}
	oldest := d.at() - journal.Millis(d.w.Asking.AnswerWindow.Minutes.Duration().Milliseconds())
	var day journal.Day
	var occurrence string
	found, reported := false, false
	for _, each := range d.s.Days {
		for _, f := range each.Feeds {
			if f.Start > d.at() || f.Start < oldest {
				continue
			}
			done := f.Fate == "reported"
			if !found || reported || !done {
				day, occurrence, found, reported = each.Day, f.Occurrence, true, done
			}
		}
	}
	return day, occurrence, found
}

// acts returns the kinds of the prompt's acts.
func (p Prompt) acts() []string {
	var acts []struct {
		Kind string `json:"kind"`
	}
	if err := unmarshal(p.Acts, &acts); err != nil {
		return nil // the acts only add to the answer; the prompt's own question stands without them
	}
	kinds := make([]string, 0, len(acts))
	for _, a := range acts {
		kinds = append(kinds, a.Kind)
	}
	return kinds
}

// consent carries out a wish to get no more texts, or to get them again.
func (d *decision) consent(t reading) {
	switch {
	case t.from.Ref == "":
	case t.has("opt_out") && !t.from.Stopped:
		for _, sent := range d.s.Sent {
			if sent.To == t.from.Ref {
				d.effects.Withdraw = append(d.effects.Withdraw, sent.ID)
			}
		}
		d.add(journal.Entry{Kind: journal.KindConsent, Consent: &journal.Consent{Caregiver: t.from.Ref, Stopped: true, Text: t.id, Words: t.body}})
		if !t.shared || t.first {
			d.send(t.from, journal.ClassAnswer, d.say(t.from.Lang, "consent.stopped", nil), "consent", "", true)
		}
	case t.has("opt_in") && t.from.Stopped:
		d.add(journal.Entry{Kind: journal.KindConsent, Consent: &journal.Consent{Caregiver: t.from.Ref, Stopped: false, Text: t.id, Words: t.body}})
		if !t.shared || t.first {
			d.send(t.from, journal.ClassAnswer, d.say(t.from.Lang, "consent.started", nil), "consent", "", true)
		}
	}
}

// acknowledge answers a routine text.
func (d *decision) acknowledge(t reading) {
	if t.has("opt_out") || t.has("opt_in") {
		return
	}
	if d.s.Status == Stranger {
		d.helpStranger(t)
		return
	}
	key, args := "", map[string]string{}
	switch {
	case t.shared && (t.GivenML != nil || t.Done != nil):
		if !t.first {
			return
		}
		key, args = "which.child", map[string]string{"tags": strings.Join(t.others, ", ")}
	case t.shared && !t.first:
		return
	case t.stopped && t.moved != "":
		d.afterStop(t)
		return
	case t.moved != "" && t.GivenML == nil && d.afterMove(t):
		return
	case t.moved != "" && t.GivenML == nil:
		key = "ack.done"
	case d.s.Status == Paused && !t.paused:
		key = "paused"
	case t.has("pause") && d.s.Status != Paused:
		key = "trip.ask"
	case t.has("later"):
		key, args = "ack.later", map[string]string{"minutes": strconv.FormatInt(int64(d.w.Asking.RemindLater.Minutes), 10)}
	case t.GivenML != nil:
		key, args = "ack.given", map[string]string{"ml": strconv.FormatInt(*t.GivenML, 10)}
	case t.Done != nil && *t.Done:
		key = "ack.done"
	case t.has("help"):
		key = "help"
	}
	if key != "" {
		body := d.say(t.from.Lang, key, args)
		if key != "which.child" {
			body = d.tagged(body)
		}
		d.send(t.from, journal.ClassAnswer, body, "answer", "", false)
	}
}

// helpStranger tells an unknown number where help is, and shows its text to
// the coordinator; not more often than flows/asking.yaml says.
func (d *decision) helpStranger(t reading) {
	again := journal.Millis(d.w.Asking.HelpAgainAfter.Minutes.Duration().Milliseconds())
	if d.s.Helped != 0 && d.at()-d.s.Helped < again {
		return
	}
	d.send(d.sender(t), journal.ClassAnswer, d.say("", "unknown.help", nil), "help", "", true)
}

// sender is whoever wrote: a caregiver, or the stranger.
func (d *decision) sender(t reading) Caregiver {
	if t.from.Ref != "" {
		return t.from
	}
	if !strings.HasPrefix(d.s.Phone, "+") {
		return Caregiver{} // a short code or a sender's name: it cannot be answered
	}
	return Caregiver{Caregiver: journal.Caregiver{Phone: d.s.Phone}}
}

// trouble opens or adds to a case, if the reading or what it reports calls for
// one, and tells the caregiver in the same decision; false if it does not.
func (d *decision) trouble(t reading) bool {
	facts := d.facts()
	facts.Handling, facts.Text, facts.Lang = t.Handling, t.body, t.Lang
	facts.Absent = t.Absent
	for _, code := range t.Present {
		facts.Present = append(facts.Present, symptom(code, t.Facts))
	}
	facts.Triggers = d.triggers(t)
	facts.Unknown = d.s.Status == Stranger
	if d.taught(t, facts) {
		return true
	}
	v, wrong := d.w.Protocols.Judge(facts)
	if !wrong && (t.Handling != reply.Auto || len(facts.Triggers) > 0) {
		// No protocol spoke up for something that a person must see: it still
		// reaches one.
		facts.Triggers = append(facts.Triggers, "unread")
		v, wrong = d.w.Protocols.Judge(facts)
	}
	if !wrong {
		return false
	}
	if t.files > 0 && len(t.Present) == 0 && t.Handling != reply.Emergency {
		v.Advice = "photo.refused" // says what we could not take, and asks for words
	}
	d.raise(v, cause{text: t.id, said: t.body, words: deciding(t.Reading), why: t.Why, from: t.from, to: d.sender(t), facts: facts})
	return true
}

// deciding returns the words that decided, as they stand in the text.
func deciding(r reply.Reading) []string {
	var words []string
	for _, f := range r.Facts {
		if f.Status == reply.Present {
			words = append(words, f.Quote)
		}
	}
	if len(words) == 0 && r.Handling != reply.Auto {
		words = append(words, r.Unread...)
	}
	return words
}

func symptom(code string, facts []reply.Fact) protocol.Symptom {
	s := protocol.Symptom{Code: code}
	for _, f := range facts {
		if f.Code != code || f.Status != reply.Present {
			continue
		}
		if f.Count != nil {
			n := int(*f.Count)
			s.Count = &n
		}
		if f.Severity != "" {
			s.Severity = f.Severity
		}
	}
	return s
}

// triggers are the reasons other than a symptom for which a person must look.
func (d *decision) triggers(t reading) []string {
	var out []string
	if d.s.Status == Stranger && (t.Handling == reply.Auto) {
		again := journal.Millis(d.w.Asking.HelpAgainAfter.Minutes.Duration().Milliseconds())
		if d.s.Helped == 0 || d.at()-d.s.Helped >= again {
			out = append(out, "unknown_number")
		}
	}
	asked := journal.ML(0)
	if p := t.prompt; p != nil && p.Asks == "feed_end" {
		asked = p.ExpectedML
	}
	switch {
	case asked > 0 || t.shared:
	case t.stopped && t.running > 0:
		asked = t.running
	case t.booked > 0:
		asked = t.booked
	}
	if asked > 0 && !t.shared {
		switch {
		case t.GivenML == nil:
			if t.Done != nil && !*t.Done && t.Handling != reply.Auto {
				out = append(out, "skipped_feed")
			}
		case *t.GivenML == 0:
			out = append(out, "skipped_feed")
		case 100**t.GivenML < d.w.Asking.ShortUnder.Percent*int64(asked):
			out = append(out, "short_feed")
		case 100**t.GivenML > d.w.Asking.OverAbove.Percent*int64(asked):
			out = append(out, "over_feed")
		}
	}
	if t.stopped && t.GivenML == nil && !t.shared && d.mustNotStop() {
		out = append(out, "short_feed") // how much is not known; that it stopped is enough
	}
	if t.oddTime {
		out = append(out, "unread")
	}
	if t.unplaced {
		out = append(out, "unread") // an amount, and no feed that it could belong to
	}
	if t.files > 0 {
		out = append(out, "unread") // a picture says what only a person can see
	}
	if t.unlike {
		out = append(out, "read_back")
	}
	if t.has("opt_out") && d.noneLeft() {
		out = append(out, "last_caregiver_left")
	}
	if t.has("wrong_number") && t.from.Ref != "" {
		out = append(out, "wrong_number")
	}
	if t.Handling == reply.Auto || len(t.Present) > 0 {
		return out
	}
	switch {
	case t.has("question"):
		out = append(out, "question")
	case t.has("help"):
		out = append(out, "help")
	case t.has("pause"):
		out = append(out, "hospital")
	case len(out) > 0:
	case len(t.Unread) > 0:
		out = append(out, "unread")
	default:
		out = append(out, "worry")
	}
	return out
}

func (d *decision) noneLeft() bool {
	_, any := d.s.first()
	return len(d.s.Caregivers) > 0 && !any
}
