package protocol

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cel.dev/cel-go/cel"
)

// MaxQuestions is how many questions a protocol may ask.
const MaxQuestions = 4

// loadQuestions checks a protocol's questions and returns the environment in
// which its conditions are compiled, which knows the answers.
func (s *Set) loadQuestions(p *protocol, f *faults, env *cel.Env) *cel.Env {
	if len(p.file.Questions) == 0 {
		return env
	}
	if len(p.file.Questions) > MaxQuestions {
		f.add("$.questions", "are %d, want at most %d", len(p.file.Questions), MaxQuestions)
	}
	var defs []factDef
	for i, q := range p.file.Questions {
		field := fmt.Sprintf("$.questions[%d]", i)
		d, ok := s.checkQuestion(f, field, q)
		if ok && q.Sets == "" {
			defs = append(defs, d)
		}
	}
	if len(defs) > 0 {
		p.vocab = s.vocab.with(defs)
		own, err := newEnv(p.vocab)
		if err != nil {
			f.add("$.questions", "two questions have the same id: %v", err)
			return env
		}
		env = own
	}
	for i, q := range p.file.Questions {
		name := q.Sets
		if name == "" {
			name = q.ID
		}
		one := question{questionFile: q, fact: p.vocab.index[name]}
		if q.When != "" {
			var err error
			if one.when, err = compile(env, p.vocab, q.When); err != nil {
				f.add(fmt.Sprintf("$.questions[%d].when", i), "%v", err)
				continue
			}
		}
		p.questions = append(p.questions, one)
	}
	return env
}

// settable are the numbers that an answer may make known.
var settable = []string{"count", "since_min"}

// checkQuestion checks one question and returns the fact of its answer.
func (s *Set) checkQuestion(f *faults, field string, q questionFile) (factDef, bool) {
	d := factDef{name: q.ID, doc: "answer to " + q.Ask, min: q.Min, max: q.Max}
	english := s.messages.Phrases(Fallback)
	switch q.Answer {
	case "yes_no":
		d.kind = truth
	case "number":
		d.kind = number
		if q.Max <= q.Min || q.Min < 0 {
			f.add(field+".max", "is %d, want more than min %d, which is 0 or more", q.Max, q.Min)
		}
	case "one_of":
		d.kind, d.words = word, q.OneOf
		if len(q.OneOf) < 2 {
			f.add(field+".one_of", "has %d words, want two or more", len(q.OneOf))
		}
		for j, w := range q.OneOf {
			if !english.Has("word." + w) {
				f.add(fmt.Sprintf("%s.one_of[%d]", field, j), "messages have no %q", "word."+w)
			}
		}
	default:
		f.add(field+".answer", "is %q, want yes_no, number or one_of", q.Answer)
	}
	if !english.Has(q.Ask) {
		f.add(field+".ask", "messages have no %q", q.Ask)
	}
	if q.On != "" {
		f.oneOf(field+".on", q.On, []string{"yes", "no"})
	}
	if q.Sets != "" {
		i, known := s.vocab.index[q.Sets]
		switch {
		case !known || i < plainCount && !slices.Contains(settable, q.Sets):
			f.add(field+".sets", "is %q, want a symptom code, a mark or one of %s", q.Sets, strings.Join(settable, ", "))
		case q.Answer == "yes_no" && s.vocab.defs[i].kind != truth, q.Answer == "number" && s.vocab.defs[i].kind != number, q.Answer == "one_of":
			f.add(field+".sets", "%q cannot be made known by an answer of the kind %s", q.Sets, q.Answer)
		}
	}
	if _, taken := s.vocab.index[q.ID]; q.ID == "" || taken && q.Sets == "" {
		f.add(field+".id", "is %q, want a name that is no fact's", q.ID)
		return d, false
	}
	return d, true
}

func (s *Set) loadSettle(p *protocol, f *faults, env *cel.Env) {
	if p.file.Settle == nil {
		return
	}
	settle := p.file.Settle
	if settle.Case.GoesTo == "" {
		settle.Case.GoesTo = p.file.Case.GoesTo
	}
	f.caseOf("$.settle.case", settle.Case)
	if settle.Why == "" {
		f.add("$.settle.why", "is missing, want what the case says when an answer lets it wait")
	}
	cond, err := compile(env, p.vocab, settle.When)
	if err != nil {
		f.add("$.settle.when", "%v", err)
		return
	}
	p.settle = cond
}

func (s *Set) loadDeadline(p *protocol, f *faults, env *cel.Env) {
	if p.file.Deadline == nil {
		return
	}
	if p.file.Deadline.Minutes <= 0 {
		f.add("$.deadline.minutes", "is %d, want 1 or more", p.file.Deadline.Minutes)
	}
	if p.file.Deadline.Source == "" {
		f.add("$.deadline.source", "is missing, want where the time comes from (or \"common practice, no source\")")
	}
	cond, err := compile(env, p.vocab, p.file.Deadline.When)
	if err != nil {
		f.add("$.deadline.when", "%v", err)
		return
	}
	p.deadline = cond
}

// value turns an answer's words into the value of its fact.
func (q question) value(answer string) (int64, bool) {
	switch q.Answer {
	case "yes_no":
		switch answer {
		case "yes":
			return 1, true
		case "no":
			return 0, true
		}
		return 0, false
	case "number":
		n, err := strconv.ParseInt(answer, 10, 64)
		if err != nil {
			return 0, false
		}
		return min(max(n, q.Min), q.Max), true
	}
	i := slices.Index(q.OneOf, answer)
	return int64(i), i >= 0
}

// trouble reports whether an answer of yes or no sets the question's fact.
func (q question) trouble(answer string) bool {
	on := q.On
	if on == "" {
		on = "yes"
	}
	return answer == on
}

// answered adds to the facts what answers make known: symptoms, counts, and
// the marks whose indexes it returns. The facts given are not changed.
func (s *Set) answered(f Facts) (Facts, []int) {
	if len(f.Answers) == 0 {
		return f, nil
	}
	var marks []int
	f.Present = slices.Clone(f.Present)
	for _, p := range s.protocols {
		for _, q := range p.questions {
			answer, ok := f.Answers[p.name+"."+q.ID]
			if !ok || q.Sets == "" {
				continue
			}
			switch {
			case q.Answer == "number":
				if n, ok := q.value(answer); ok {
					f.Present = countInto(f.Present, p.file.Opens.Codes, q.Sets, int(n))
				}
			case !q.trouble(answer):
			case slices.Contains(Codes, q.Sets):
				if !slices.ContainsFunc(f.Present, func(y Symptom) bool { return y.Code == q.Sets }) {
					f.Present = append(f.Present, Symptom{Code: q.Sets})
				}
			default:
				marks = append(marks, q.fact)
			}
		}
	}
	return f, marks
}

// countInto notes a number on the symptoms that opened a protocol.
func countInto(present []Symptom, codes []string, what string, n int) []Symptom {
	for i, y := range present {
		if !slices.Contains(codes, y.Code) {
			continue
		}
		if what == "count" {
			present[i].Count = &n
		} else {
			present[i].SinceMin = &n
		}
	}
	return present
}
