package protocol

import (
	"slices"
	"strconv"
	"strings"

	"hearthline/internal/journal"
)

// Talk is one conversation about one case: what was said at its start, what
// was asked, what was answered. It is small, kept in a household's state as
// JSON, and only ever changed by Begin, Hear and Wait.
type Talk struct {
	Protocol string            `json:"protocol"`
	Flows    string            `json:"flows"` // version of the flows it began with
	Said     Said              `json:"said"`
	Open     string            `json:"open,omitempty"` // id of the question that waits for an answer
	Due      journal.Millis    `json:"due_ms,omitempty"`
	Answers  map[string]string `json:"answers,omitempty"` // by question; Silence where none came
}

// Said is what opened the case: the part of Facts that a text said.
type Said struct {
	Present  []Symptom `json:"present,omitempty"`
	Absent   []string  `json:"absent,omitempty"`
	Handling string    `json:"handling,omitempty"`
	Triggers []string  `json:"triggers,omitempty"`
	Text     string    `json:"text,omitempty"`
}

// Silence stands for the answer that never came.
const Silence = "-"

// waitDefault is how long an answer is waited for where a protocol sets nothing.
const waitDefault journal.Minutes = 10

// Turn is what follows from one turn of a conversation.
type Turn struct {
	// Ask is the message key of the question that goes out now, "" for none.
	Ask string
	// Verdict is what now follows for the case. It is never later than the one
	// before, unless Verdict.Settled says that an answer lets the case wait.
	Verdict Verdict
	// Understood says that the text answered a question.
	Understood bool
	// Done says that nothing more is asked.
	Done bool
}

// Begin starts the conversation about a case that the facts opened; false
// where its protocol has nothing to ask. The case is on the queue already.
func (s *Set) Begin(f Facts, v Verdict, now journal.Millis) (Talk, Turn, bool) {
	t := Talk{Protocol: v.Protocol, Flows: s.version, Answers: map[string]string{},
		Said: Said{f.Present, f.Absent, f.Handling, f.Triggers, f.Text}}
	q, ok := s.next(t, f)
	if !ok || v.Answer == journal.AnswerEmergency {
		return Talk{}, Turn{Verdict: v, Done: true}, false
	}
	t = s.ask(t, q, now)
	turn := Turn{Ask: q.Ask, Verdict: v}
	if q.InAdvice {
		turn.Ask = ""
	}
	return t, turn, true
}

// GivesWay reports whether a new verdict is urgent enough to take over from a
// conversation about an older one.
func (s *Set) GivesWay(t Talk, f Facts, v Verdict) bool {
	old, ok := s.Judge(t.facts(f))
	return !ok || v.Before(old)
}

// Hear takes a text as the answer to the question that waits, or, when none
// does, to the last one left unanswered: a late answer still finds its
// question. A text that answers nothing changes nothing.
func (s *Set) Hear(t Talk, f Facts, text string, now journal.Millis) (Talk, Turn) {
	q, ok := s.waiting(t)
	if ok {
		var answer string
		if answer, ok = s.understand(q, text); ok {
			t = t.with(q.ID, answer)
			next, turn := s.goOn(t, f, now)
			turn.Understood = true
			return next, turn
		}
	}
	v, _ := s.Judge(t.facts(f))
	return t, Turn{Verdict: v, Done: t.Open == ""}
}

// Wait notes at t.Due that no answer came. The rest is not asked: one question
// without an answer is enough, and silence never closes a case.
func (s *Set) Wait(t Talk, f Facts, now journal.Millis) (Talk, Turn) {
	if t.Open == "" || now < t.Due {
		v, _ := s.Judge(t.facts(f))
		return t, Turn{Verdict: v, Done: t.Open == ""}
	}
	t = t.with(t.Open, Silence)
	v, _ := s.Judge(t.facts(f))
	return t, Turn{Verdict: v, Done: true}
}

// goOn judges anew with the answers so far and asks the next question.
func (s *Set) goOn(t Talk, f Facts, now journal.Millis) (Talk, Turn) {
	v, _ := s.Judge(t.facts(f))
	turn := Turn{Verdict: v, Done: true}
	if v.Answer == journal.AnswerEmergency || v.Settled {
		return t, turn
	}
	if q, ok := s.next(t, f); ok {
		t = s.ask(t, q, now)
		turn.Ask, turn.Done = q.Ask, false
	}
	return t, turn
}

// facts lays what was said and answered over what is known of the household.
func (t Talk) facts(f Facts) Facts {
	f.Present, f.Absent, f.Handling, f.Triggers, f.Text = t.Said.Present, t.Said.Absent, t.Said.Handling, t.Said.Triggers, t.Said.Text
	f.Answers, f.NoAnswer = map[string]string{}, false
	for id, answer := range t.Answers {
		if answer == Silence {
			f.NoAnswer = true
		} else {
			f.Answers[t.Protocol+"."+id] = answer
		}
	}
	return f
}

// with returns t with one more answer; t itself is not changed.
func (t Talk) with(id, answer string) Talk {
	answers := map[string]string{id: answer}
	for k, v := range t.Answers {
		if k != id {
			answers[k] = v
		}
	}
	t.Answers, t.Open, t.Due = answers, "", 0
	return t
}

func (s *Set) ask(t Talk, q question, now journal.Millis) Talk {
	wait := s.byName[t.Protocol].file.WaitMin
	if wait == 0 {
		wait = waitDefault
	}
	t.Open, t.Due = q.ID, now+journal.Millis(wait.Duration().Milliseconds())
	return t
}

// next returns the first question that is not answered, not known already and
// may matter. Nothing is asked after a silence.
func (s *Set) next(t Talk, f Facts) (question, bool) {
	p := s.byName[t.Protocol]
	if p == nil || len(p.questions) == 0 {
		return question{}, false
	}
	f, marks := s.answered(t.facts(f))
	base := s.valuesOf(f)
	for _, m := range marks {
		base.flag(m, true)
	}
	vs := s.forProtocol(p, f, base)
	return nextQuestion(p, &vs, func(q question) bool { _, is := t.Answers[q.ID]; return is })
}

// nextQuestion returns the first question that was not asked yet, whose fact is
// not known, and whose condition may hold.
func nextQuestion(p *protocol, vs *values, asked func(question) bool) (question, bool) {
	if vs.known[fNoAnswer] && vs.v[fNoAnswer] == 1 {
		return question{}, false
	}
	for _, q := range p.questions {
		if asked(q) || q.settled(vs) {
			continue
		}
		if q.when != nil {
			if may, _ := q.when.root.eval(vs); !may {
				continue
			}
		}
		return q, true
	}
	return question{}, false
}

// settled reports whether what a question asks is known without asking: a
// truth that is already so, or a number or word that was said.
func (q question) settled(vs *values) bool {
	if q.Answer == "yes_no" {
		return q.Sets != "" && vs.v[q.fact] == 1
	}
	return vs.known[q.fact]
}

// waiting returns the question that a text may answer.
func (s *Set) waiting(t Talk) (question, bool) {
	p := s.byName[t.Protocol]
	if p == nil {
		return question{}, false
	}
	for _, q := range slices.Backward(p.questions) {
		if q.ID == t.Open || t.Open == "" && t.Answers[q.ID] == Silence {
			return q, true
		}
	}
	return question{}, false
}

// understand reads an answer: the words for yes and no of every language, a
// number in figures, or one of the question's words. Anything longer than an
// answer is not one: it is read like any other text.
func (s *Set) understand(q question, text string) (string, bool) {
	words := wordsOf(text)
	if len(words) == 0 || len(words) > 4 {
		return "", false
	}
	switch q.Answer {
	case "yes_no":
		yes, no, other := 0, 0, 0
		for _, w := range words {
			switch one := []string{w}; {
			case s.says("word.yes", one):
				yes++
			case s.says("word.no", one):
				no++
			case !s.says("word.filler", one):
				other++
			}
		}
		// "No idea" and "no sé" are no answer: every word must be accounted for.
		switch {
		case other > 0 || yes > 0 && no > 0:
		case yes > 0:
			return "yes", true
		case no > 0:
			return "no", true
		}
	case "number":
		found, answer := 0, ""
		for _, w := range words {
			if n, err := strconv.ParseInt(w, 10, 32); err == nil {
				found, answer = found+1, strconv.FormatInt(n, 10)
			}
		}
		return answer, found == 1
	case "one_of":
		found, answer := 0, ""
		for _, one := range q.OneOf {
			if s.says("word."+one, words) {
				found, answer = found+1, one
			}
		}
		return answer, found == 1
	}
	return "", false
}

// says reports whether words are among the words under key, in any language.
func (s *Set) says(key string, words []string) bool {
	whole := strings.Join(words, " ")
	for _, lang := range s.Languages() {
		for _, entry := range strings.Split(s.messages.text[lang][key], ",") {
			if w := strings.Join(wordsOf(entry), " "); w != "" && w == whole {
				return true
			}
		}
	}
	return false
}
