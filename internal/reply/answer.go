package reply

import "slices"

// answer fills the volumes and whether what was asked happened.
func (r *run) answer(out *Reading, asked *Asked, v volumes) {
	out.GivenML, out.FlushML, out.ByMouthML = v.given, v.flush, v.mouth
	if asked == nil {
		return
	}
	yes, no := true, false
	switch asked.Kind {
	case FeedEnd:
		r.answerFeedEnd(out, asked, v)
	case FeedStart, Flush, BagChange:
		started := r.said("started") || r.said("done") || r.said("yes") && !r.said("no")
		switch {
		case r.reacted() && !r.said("reaction_yes"):
		case r.skipped():
			out.Done = &no
			if asked.Kind == FeedStart && out.GivenML == nil {
				out.GivenML = new(int64)
			}
		case r.later(), r.hindered(asked.Kind) && !started:
			out.Done = &no
		case r.said("done_denied"), r.said("no") && !started && !r.said("ok"):
			out.Done = &no
		case started, r.doneNow(asked, out):
			out.Done = &yes
		case r.hindered(asked.Kind):
			out.Done = &no
		}
		if r.priorOnly(asked, v) {
			out.Done = nil
		}
	}
}

// priorOnly tells whether the text speaks of an earlier feed and not of what was asked.
func (r *run) priorOnly(asked *Asked, v volumes) bool {
	return v.prior && v.given != nil
}

// doneNow tells whether words or amounts say that it happened.
func (r *run) doneNow(asked *Asked, out *Reading) bool {
	switch asked.Kind {
	case Flush:
		return out.FlushML != nil && *out.FlushML > 0
	case FeedStart:
		for k := range r.quants {
			if r.quants[k].role == qRate {
				return true
			}
		}
		return r.said("all") && len(out.Present) == 0
	case BagChange:
		return r.said("all") && len(out.Present) == 0
	}
	return false
}

// hindered tells whether the tube or the pump keeps it from happening.
func (r *run) hindered(kind string) bool {
	for i := range r.facts {
		if f := &r.facts[i]; f.status == Present {
			for _, c := range f.codes {
				switch c {
				case "tube_blocked", "pump", "tube_out", "supplies":
					return true
				}
			}
		}
	}
	return false
}

func (r *run) answerFeedEnd(out *Reading, asked *Asked, v volumes) {
	yes, no := true, false
	exp := asked.ExpectedML
	pending := r.later() || r.said("running")
	if out.GivenML == nil && !v.uncertain && !pending {
		switch {
		case r.said("skipped") || r.said("refused"), r.said("none") && !r.said("all"):
			out.GivenML = new(int64)
			out.Done = &no
			return
		case r.reacted():
			if r.said("reaction_yes") {
				out.GivenML = exp
			}
		case r.said("stopped") && r.goneOn(): // stopped for a while, then finished
			out.GivenML = copied(exp)
		case r.said("stopped") || r.said("partly") || r.said("no") && !r.said("all"):
		case r.said("all"), r.said("done") && !r.troubled(), r.said("yes") && !r.troubled():
			out.GivenML = copied(exp)
		}
	}
	switch {
	case out.GivenML != nil && v.prior && r.said("prior_feed"):
	case out.GivenML != nil && exp != nil && *exp > 0 && (*out.GivenML)*100 >= int64(r.l.limits.ShortPercent)*(*exp):
		out.Done = &yes
	case out.GivenML != nil && *out.GivenML == 0:
		out.Done = &no
	case pending:
		out.Done = &no
	case r.said("stopped") && !r.goneOn() || r.said("refused") || r.said("skipped"):
		out.Done = &no
	case out.GivenML != nil && exp != nil && (v.only || v.unit || v.words || r.words() > 2):
		out.Done = &no
	case r.said("no") && out.GivenML == nil:
		out.Done = &no
	case out.GivenML == nil && (r.said("all") || r.said("done")) && exp == nil:
		out.Done = &yes
	}
	if out.GivenML != nil && pending && v.given != nil && (*out.GivenML)*100 < 80*ptr(exp) {
		out.Done = &no
	}
}

func copied(p *int64) *int64 {
	if p == nil {
		return nil
	}
	n := *p
	return &n
}

func ptr(p *int64) int64 {
	if p == nil {
		return 0
	}
	return *p
}

// words counts word tokens.
func (r *run) words() int {
	n := 0
	for i := range r.toks {
		if r.toks[i].kind == word && !r.toks[i].quoted(r) {
			n++
		}
	}
	return n
}

// troubled tells whether what came up or out makes "done" uncertain.
func (r *run) troubled() bool {
	for i := range r.facts {
		if f := &r.facts[i]; f.status == Present {
			for _, c := range f.codes {
				switch c {
				case "tube_out", "tube_blocked", "pump", "vomiting":
					return true
				}
			}
		}
	}
	return false
}

// intents fills what the writer wants.
func (r *run) intents(out *Reading, asked *Asked) {
	add := func(s string) {
		if !slices.Contains(out.Intent, s) {
			out.Intent = append(out.Intent, s)
		}
	}
	if r.reacted() {
		return
	}
	for i := range r.matches {
		m := &r.matches[i]
		if m.pat.what == whatAnswer && (m.pat.label == "later" || m.pat.label == "snooze") && (asked != nil || len(r.toks) <= 7) {
			add("later")
		}
		if m.pat.what != whatIntent {
			continue
		}
		switch m.pat.label {
		case "opt_out", "opt_in", "pause", "wrong_number", "help", "thanks", "question":
			if m.pat.label == "opt_out" && r.intentAt("no_opt_out") != nil || m.pat.label == "opt_out" && r.intentAt("pause") != nil {
				continue
			}
			add(m.pat.label)
		case "opt_out_alone":
			if r.alone(m) {
				add("opt_out")
			}
		case "opt_in_alone":
			if r.alone(m) {
				add("opt_in")
			}
		case "help_alone":
			if r.alone(m) {
				add("help")
			}
		case "question_plan":
			add("question")
		}
	}
	for i := range r.toks {
		if t := &r.toks[i]; t.kind == stop && t.sym == '?' && !t.quoted(r) && r.asks(i) {
			add("question")
		}
	}
	if m := r.intentAt("question_polite"); m != nil && len(out.Intent) == 0 {
		add("question") // "could you ..." is no question where it asks for a pause or a call
	}
	slices.Sort(out.Intent)
}

// asks tells whether the sentence that ends with the question mark i asks
// something: a mark after doubt about a fact ("tube on the floor??") does not.
func (r *run) asks(i int) bool {
	if i == 0 {
		return false
	}
	from, _ := r.sentence(i - 1)
	for k := from; k < i; k++ {
		if r.has(k, roleQuestion) {
			return true
		}
	}
	if i-from < 2 || r.isNumber(from) {
		return false
	}
	for k := range r.facts { // "the tube is on the floor??" tells
		if f := &r.facts[k]; f.from < i && f.to > from {
			return false
		}
	}
	return true // "stop the feed?"
}

// alone tells whether nothing but courtesies stands beside m.
func (r *run) alone(m *match) bool {
	for i := range r.toks {
		if i >= m.from && i < m.to || r.toks[i].kind != word && r.toks[i].kind != number || r.has(i, roleGreet|roleSkip) {
			continue
		}
		return false
	}
	return true
}

func (r *run) intentAt(label string) *match {
	for i := range r.matches {
		if m := &r.matches[i]; m.pat.what == whatIntent && m.pat.label == label {
			return m
		}
	}
	return nil
}

// planAnswers tells whether every question asked is one that the regimen answers.
func (r *run) planAnswers() bool {
	return r.intentAt("question_plan") != nil && r.intentAt("question_person") == nil
}

// goneOn tells whether after a stop the text says that it was finished.
func (r *run) goneOn() bool {
	stopped, finished := -1, -1
	for i := range r.matches {
		m := &r.matches[i]
		if m.pat.what != whatAnswer {
			continue
		}
		switch m.pat.label {
		case "stopped":
			stopped = max(stopped, m.from)
		case "all", "done":
			finished = max(finished, m.from)
		}
	}
	return finished > stopped && stopped >= 0
}
