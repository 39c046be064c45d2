package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
)

// askCmd walks one pretend household's conversation: texts in, and after each
// the reading, what is sent, the case and its answer-by time. Nothing is stored.
type askCmd struct {
	Household string `required:"" type:"existingfile" help:"Regimen file of the pretend household."`
	At        string `help:"When it begins, local time of the household: 2026-12-01 02:00 (the default), or RFC 3339." default:"2026-12-01 02:00"`
	Flows     string `type:"existingdir" help:"Folder of flows; without one, those built into this program."`
	JSON      bool   `name:"json" help:"Read {\"after_min\": 0, \"text\": \"...\"} a line and write one JSON object a line."`
}

// Help is what --help adds.
func (askCmd) Help() string {
	return `Type as a caregiver; an empty line lets 10 minutes pass. With --json each line in is {"after_min": minutes since the one before, "text": "..."}, an empty text is just time passing, and each line out is {"reading", "sent", "case", "held"}.`
}

// Run reads texts until there are no more.
func (c *askCmd) Run(s *streams) error {
	w, err := loadWorld(flowsFrom(c.Flows), pretendBranch())
	if err != nil {
		return err
	}
	src, err := os.ReadFile(c.Household)
	if err != nil {
		return fmt.Errorf("household: %w", err)
	}
	d, err := newDry(w, filepath.Base(c.Household), src, c.At)
	if err != nil {
		return err
	}
	in := bufio.NewScanner(s.in)
	in.Buffer(make([]byte, 0, 64<<10), 1<<20)
	out := json.NewEncoder(s.out)
	out.SetEscapeHTML(false)
	for line := 1; in.Scan(); line++ {
		said := saidAfter{AfterMin: 1, Text: in.Text()}
		switch {
		case c.JSON:
			if strings.TrimSpace(in.Text()) == "" {
				continue
			}
			said = saidAfter{}
			if err := json.Unmarshal(in.Bytes(), &said); err != nil {
				return fmt.Errorf(`line %d: %w; want {"after_min": 0, "text": "..."}`, line, err)
			}
			if said.AfterMin < 0 {
				return fmt.Errorf("line %d: after_min is %v, want 0 or more", line, said.AfterMin)
			}
		case strings.TrimSpace(said.Text) == "":
			said.AfterMin = 10
		}
		turn, err := d.say(said)
		if err != nil {
			return fmt.Errorf("line %d: %w", line, err)
		}
		if c.JSON {
			err = out.Encode(turn)
		} else {
			_, err = fmt.Fprint(s.out, turn.inWords(d.now))
		}
		if err != nil {
			return fmt.Errorf("line %d: %w", line, err)
		}
	}
	if err := in.Err(); err != nil {
		return fmt.Errorf("standard input: %w", err)
	}
	return nil
}

// saidAfter is one line in: a text, so many minutes after the one before.
type saidAfter struct {
	AfterMin float64 `json:"after_min"`
	Text     string  `json:"text"`
}

// dryTurn is what follows from one line.
type dryTurn struct {
	Reading json.RawMessage `json:"reading"`
	Sent    []dryText       `json:"sent"`
	Case    *dryCase        `json:"case"`
	Held    []string        `json:"held"`
}

type dryText struct {
	To   string `json:"to"` // caregiver, nurse, coordinator
	Text string `json:"text"`
}

type dryCase struct {
	Protocol     string         `json:"protocol"`
	Answer       journal.Answer `json:"answer"`
	AnswerByMin  int64          `json:"answer_by_min"` // minutes from now; 0 for at once or overdue
	PageAfterMin int64          `json:"page_after_min"`
	GoesTo       string         `json:"goes_to"`
	State        string         `json:"state"`
}

// dry is one pretend household on a clock of its own. It takes each step
// through the same Decide as the service, and keeps nothing.
type dry struct {
	w     *household.World
	s     household.State
	now   time.Time
	texts int
	lang  string
}

// dryPhone is an invented number.
const dryPhone = "+12025550117"

// newDry puts a pretend household on file, at a local time.
func newDry(w *household.World, file string, src []byte, at string) (*dry, error) {
	p, _, err := regimen.Parse(file, src, w.Limits)
	if err != nil {
		return nil, err
	}
	zone, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return nil, fmt.Errorf("%s: time_zone: %w", file, err)
	}
	now, err := time.ParseInLocation("2006-01-02 15:04", at, zone)
	if err != nil {
		if now, err = time.Parse(time.RFC3339, at); err != nil {
			return nil, fmt.Errorf("--at %q is no time, want such as \"2026-12-01 02:00\" or 2026-12-01T02:00:00-06:00", at)
		}
	}
	order, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	lang := protocol.Fallback
	if len(p.Languages) > 0 {
		lang = p.Languages[0]
	}
	d := &dry{w: w, s: household.State{ID: journal.HouseholdID(p.Household)}, now: now.In(zone), lang: lang}
	_, err = d.decide(household.Enrol{By: "staff:dry", Prescription: order, Who: journal.Enrolled{Name: "invented", Zone: p.TimeZone,
		Caregivers: []journal.Caregiver{{Ref: "c1", Name: "invented", Phone: dryPhone, Lang: lang}}}})
	return d, err
}

// decide takes one event, now.
func (d *dry) decide(ev household.Event) (household.Decision, error) {
	made, err := household.Decide(d.w, d.s, d.now, ev)
	if err == nil {
		d.s = made.State
	}
	return made, err
}

// say lets the time pass, deciding on everything that falls due on the way,
// and then takes a text, if there is one.
func (d *dry) say(said saidAfter) (dryTurn, error) {
	turn := dryTurn{Sent: []dryText{}, Held: []string{}, Reading: json.RawMessage("null")}
	until := d.now.Add(time.Duration(said.AfterMin * float64(time.Minute)))
	for {
		next, err := household.NextInstant(d.w, d.s)
		if err != nil {
			return turn, err
		}
		if next == 0 || next.Time().After(until) {
			break
		}
		if at := next.Time().In(d.now.Location()); at.After(d.now) {
			d.now = at
		}
		before := next
		made, err := d.decide(household.Tick{})
		if err != nil {
			return turn, err
		}
		d.note(&turn, made)
		if after, err := household.NextInstant(d.w, d.s); err != nil || after == before && len(made.Entries) == 0 {
			return turn, fmt.Errorf("time stands still at %s: %w", d.now, err)
		}
	}
	d.now = until
	if said.Text != "" {
		d.texts++
		made, err := d.decide(household.TextCame{CarrierID: fmt.Sprintf("dry-%d", d.texts), From: dryPhone, Body: said.Text, Got: journal.At(d.now), First: true})
		if err != nil {
			return turn, err
		}
		d.note(&turn, made)
	}
	d.lead(&turn)
	return turn, nil
}

// note adds what a decision sends and reads to the turn. What staff are shown
// is the case's title with the words that caused it.
func (d *dry) note(turn *dryTurn, made household.Decision) {
	for _, text := range made.Effects.Send {
		turn.Sent = append(turn.Sent, dryText{"caregiver", text.Body})
	}
	words := d.w.Protocols.Phrases(protocol.Fallback)
	for _, e := range made.Entries {
		switch {
		case e.TextIn != nil:
			turn.Reading = e.TextIn.Reading
		case e.CaseOpened != nil:
			turn.Sent = append(turn.Sent, dryText{e.CaseOpened.GoesTo, strings.TrimSpace(words.Say(e.CaseOpened.Title, nil) + ". " + e.CaseOpened.Said)})
		case e.CaseText != nil:
			to := "nurse"
			for _, c := range d.s.Cases {
				if c.ID == e.CaseText.Case {
					to = c.GoesTo
				}
			}
			turn.Sent = append(turn.Sent, dryText{to, "Added to the case: " + e.CaseText.Said})
		}
	}
}

// urgent orders the kinds of answer.
var urgent = map[journal.Answer]int{journal.AnswerEmergency: 0, journal.AnswerMinutes: 1, journal.AnswerNext: 2, journal.AnswerDayList: 3}

// lead shows the most urgent open case, and what all open ones withhold.
func (d *dry) lead(turn *dryTurn) {
	var first *household.Case
	held := map[string]bool{}
	for i, c := range d.s.Cases {
		if !c.Open() {
			continue
		}
		for _, kind := range c.Hold {
			held[kind] = true
		}
		if first == nil || urgent[c.Answer] < urgent[first.Answer] || c.Answer == first.Answer && c.AnswerBy < first.AnswerBy {
			first = &d.s.Cases[i]
		}
	}
	for _, kind := range protocol.PromptKinds {
		if held[kind] {
			turn.Held = append(turn.Held, kind)
		}
	}
	if first == nil {
		return
	}
	c := &dryCase{Protocol: first.Protocol, Answer: first.Answer, GoesTo: first.GoesTo, State: string(first.Status)}
	if first.Overdue {
		c.State = "overdue"
	}
	within := journal.Minutes((first.AnswerBy - first.Opened) / 60_000)
	if first.Answer != journal.AnswerEmergency {
		c.AnswerByMin = max(0, int64(first.AnswerBy-journal.At(d.now))/60_000)
		c.PageAfterMin = int64(d.w.Protocols.PageAfter(first.Protocol, first.Answer, within))
	}
	turn.Case = c
}

// inWords writes a turn for a terminal.
func (t dryTurn) inWords(now time.Time) string {
	var b strings.Builder
	fmt.Fprintf(&b, "-- %s\n", now.Format("Mon 15:04"))
	var read struct {
		Handling string   `json:"handling"`
		Why      string   `json:"why"`
		Present  []string `json:"present"`
	}
	if err := json.Unmarshal(t.Reading, &read); err == nil && read.Handling != "" {
		fmt.Fprintf(&b, "   read: %s, %s %v\n", read.Handling, read.Why, read.Present)
	}
	for _, text := range t.Sent {
		fmt.Fprintf(&b, "   to %s: %s\n", text.To, text.Text)
	}
	if t.Case != nil {
		fmt.Fprintf(&b, "   case: %s, %s, answer within %d min, rings after %d min, for the %s, %s\n",
			t.Case.Protocol, t.Case.Answer, t.Case.AnswerByMin, t.Case.PageAfterMin, t.Case.GoesTo, t.Case.State)
	}
	if len(t.Held) > 0 {
		fmt.Fprintf(&b, "   held: %s\n", strings.Join(t.Held, ", "))
	}
	return b.String()
}
