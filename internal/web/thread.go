package web

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/reply"
)

// threadLines is how many journal entries a page reads.
const threadLines = 120

// line is one line of a thread: a text in, a text out, or an act.
type line struct {
	Day      string // set where another day begins
	Time     string
	Machine  string
	Kind     string // in, out, act
	Who      string
	Lang     string
	Pieces   []piece // of a text
	Act      string  // of an act
	Foot     string
	Failed   bool // a text out that did not arrive
	Reading  *readingView
	ThisCase bool
}

// readingView says beside a text how it was read.
type readingView struct {
	Handling string // auto, nurse, emergency
	Words    string
	Why      string
	Lines    []string
	Unread   []string
	Filed    []string
}

// threadView is a household's thread, newest first, and a case's own history, oldest first.
type threadView struct {
	Lines   []line
	History []line // what was done with the case
	Zone    string
	Cut     bool
	Failed  bool
}

// thread makes a view of entries, oldest first. Texts of the case, if any, are
// told apart, and its own entries go to its history.
func (s *Site) thread(st household.State, entries []journal.Entry, of journal.CaseID) threadView {
	z := s.zoneOf(st.Zone)
	names := map[journal.CaregiverRef]string{}
	for _, c := range st.Caregivers {
		names[c.Ref] = c.Name
	}
	ofCase := textsOf(entries, of)
	at := map[journal.TextID]int{}
	v := threadView{Zone: zoneWords(z), Cut: len(entries) >= threadLines}
	for _, e := range entries {
		l := line{Time: clock(e.At, z), Machine: machine(e.At), Kind: "act", Who: person(e.By, names)}
		switch {
		case e.TextIn != nil:
			t := e.TextIn
			l.Kind, l.Who, l.ThisCase = "in", names[t.From], ofCase[t.ID]
			if l.Who == "" {
				l.Who = say("who.caregiver")
			}
			l.Pieces, l.Reading, l.Lang = s.reading(t)
			at[t.ID] = len(v.Lines)
		case e.TextOut != nil:
			t := e.TextOut
			l.Kind, l.Who, l.ThisCase = "out", say("thread.us"), of != "" && t.Case == of
			l.Pieces = []piece{{Text: t.Body}}
			l.Foot = outWords(t, e.By, names)
			l.Lang = langOf(st, t.To)
			at[t.ID] = len(v.Lines)
		case e.Receipt != nil:
			if i, ok := at[e.Receipt.Text]; ok {
				v.Lines[i].received(e.Receipt)
			}
			continue
		case e.Fed != nil:
			if i, ok := at[e.Fed.Text]; ok && v.Lines[i].Reading != nil {
				r := v.Lines[i].Reading
				r.Filed = append(r.Filed, sayf("read.filed", strconv.FormatInt(int64(e.Fed.GivenML), 10)))
			}
			continue
		case e.Done != nil:
			if i, ok := at[e.Done.Text]; ok && v.Lines[i].Reading != nil {
				key := "act.done"
				if !e.Done.Done {
					key = "act.not_done"
				}
				r := v.Lines[i].Reading
				r.Filed = append(r.Filed, sayf(key, plain(e.Done.What)))
			}
			continue
		default:
			if l.Act = s.act(e, z, names); l.Act == "" {
				continue
			}
			if id := caseOf(e); id != "" && id == of {
				l.ThisCase = true
				h := l
				h.Time = dayClock(e.At, z)
				v.History = append(v.History, h)
			}
		}
		l.Day = e.At.Time().In(z).Format("Mon 2 Jan 2006")
		v.Lines = append(v.Lines, l)
	}
	slices.Reverse(v.Lines) // the newest is what matters; the day stands where it changes
	day := ""
	for i := range v.Lines {
		if l := &v.Lines[i]; l.Day == day {
			l.Day = ""
		} else {
			day = l.Day
		}
	}
	return v
}

func (l *line) received(r *journal.Receipt) {
	if w, ok := words["thread."+r.Status]; ok {
		l.Failed = r.Status != "delivered"
		l.Foot = strings.TrimSuffix(l.Foot, say("thread.on_the_way")) + w
		if r.Why != "" && l.Failed {
			l.Foot += " (" + plain(r.Why) + ")"
		}
	}
}

func outWords(t *journal.TextOut, by string, names map[journal.CaregiverRef]string) string {
	why := plain(t.Why)
	if t.Why == "staff" {
		why = sayf("thread.out.staff", person(by, names))
	} else if w, ok := words["thread.out."+t.Why]; ok {
		why = w
	}
	to := names[t.To]
	if to != "" {
		to = " → " + to
	}
	return why + to + " · " + say("thread.on_the_way")
}

func langOf(st household.State, ref journal.CaregiverRef) string {
	for _, c := range st.Caregivers {
		if c.Ref == ref {
			return c.Lang
		}
	}
	return ""
}

// textsOf are the texts that belong to a case.
func textsOf(entries []journal.Entry, of journal.CaseID) map[journal.TextID]bool {
	m := map[journal.TextID]bool{}
	if of == "" {
		return m
	}
	for _, e := range entries {
		switch {
		case e.CaseOpened != nil && e.CaseOpened.Case == of:
			m[e.CaseOpened.Text] = true
		case e.CaseText != nil && e.CaseText.Case == of:
			m[e.CaseText.Text] = true
		}
	}
	return m
}

func caseOf(e journal.Entry) journal.CaseID {
	switch {
	case e.CaseOpened != nil:
		return e.CaseOpened.Case
	case e.CaseText != nil:
		return e.CaseText.Case
	case e.CaseMoved != nil:
		return e.CaseMoved.Case
	}
	return ""
}

// reading shows how a text was read; the words themselves are shown whatever
// became of the reading.
func (s *Site) reading(t *journal.TextIn) ([]piece, *readingView, string) {
	var r reply.Reading
	if len(t.Reading) == 0 || json.Unmarshal(t.Reading, &r) != nil || r.Handling == "" {
		return []piece{{Text: t.Body}}, &readingView{Handling: reply.Nurse, Words: say("read.none")}, ""
	}
	v := &readingView{Handling: r.Handling, Words: say("read.nurse"), Why: r.Why, Unread: r.Unread}
	if w, ok := words["read."+r.Handling]; ok {
		v.Words = w
	}
	add := func(key string, args ...string) { v.Lines = append(v.Lines, sayf(key, args...)) }
	if len(r.Present) > 0 {
		add("read.present", strings.Join(s.codes(r.Present), ", "))
	}
	if len(r.Absent) > 0 {
		add("read.absent", strings.Join(s.codes(r.Absent), ", "))
	}
	for _, status := range []string{reply.Past, reply.Possible, reply.Other} {
		var cs []string
		for _, f := range r.Facts {
			if f.Status == status {
				cs = append(cs, s.code(f.Code))
			}
		}
		if len(cs) > 0 {
			add("read."+status, strings.Join(cs, ", "))
		}
	}
	if r.GivenML != nil {
		add("read.given", strconv.FormatInt(*r.GivenML, 10))
	}
	if r.FlushML != nil {
		add("read.flush", strconv.FormatInt(*r.FlushML, 10))
	}
	if r.ByMouthML != nil {
		add("read.by_mouth", strconv.FormatInt(*r.ByMouthML, 10))
	}
	if r.Done != nil {
		if *r.Done {
			add("read.done")
		} else {
			add("read.not_done")
		}
	}
	if len(r.Intent) > 0 {
		add("read.intent", plain(strings.Join(r.Intent, ", ")))
	}
	lang := r.Lang
	if len(lang) != 2 {
		lang = ""
	}
	return markFacts(t.Body, r.Facts), v, lang
}

// act says an entry that is neither text nor report; "" leaves it out.
func (s *Site) act(e journal.Entry, z *time.Location, names map[journal.CaregiverRef]string) string {
	who := person(e.By, names)
	switch {
	case e.Enrolled != nil:
		return say("act.enrolled")
	case e.Regimen != nil:
		return sayf("act.regimen", dayClock(e.Regimen.From, z))
	case e.DayOpened != nil:
		return sayf("act.day_opened", dayName(e.DayOpened.Day))
	case e.DayClosed != nil:
		return sayf("act.day_closed", dayName(e.DayClosed.Day))
	case e.NotAsked != nil:
		why := e.NotAsked.Why
		if w, ok := words["why."+why]; ok {
			why = w
		}
		return sayf("act.not_asked", clock(e.NotAsked.At, z), why)
	case e.Unanswered != nil:
		return say("act.unanswered")
	case e.AskedAgain != nil:
		return "" // its text says so
	case e.CaseOpened != nil:
		return sayf("act.case_opened", s.phrase(e.CaseOpened.Title))
	case e.CaseText != nil:
		if e.CaseText.Title != "" {
			return sayf("act.case_raised", s.phrase(e.CaseText.Title))
		}
		return say("act.case_text")
	case e.CaseMoved != nil:
		return s.moved(e.CaseMoved, who)
	case e.Consent != nil:
		key := "act.resumed"
		if e.Consent.Stopped {
			key = "act.stopped"
		}
		return sayf(key, "“"+e.Consent.Words+"”")
	case e.Paused != nil:
		key := "act.unpaused"
		if e.Paused.On {
			key = "act.paused"
		}
		w := sayf(key, who)
		if e.Paused.Why != "" {
			w += ": " + e.Paused.Why
		}
		return w
	case e.Stranger != nil:
		return say("act.stranger")
	}
	return ""
}

func (s *Site) moved(m *journal.CaseMoved, who string) string {
	if m.Holder != "" {
		who = holderName(m.Holder)
	}
	key, args := "act."+m.To, []string{who}
	if m.To == "closed" {
		args = append(args, s.phrase(m.Disposition))
	}
	w := plain(m.To)
	if _, ok := words[key]; ok {
		w = sayf(key, args...)
	}
	if m.Note != "" {
		w += ". " + sayf("act.note", m.Note)
	}
	return w
}

// zoneWords names a zone in full; its abbreviation, which changes with the
// season, stands beside each time.
func zoneWords(z *time.Location) string {
	return sayf("thread.zone", strings.ReplaceAll(z.String(), "_", " "))
}
