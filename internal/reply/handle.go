package reply

import "slices"

// plainRoles are the roles whose words are harmless wherever they stand.
const plainRoles = roleLeft | roleGave | roleMouth | roleBut | roleSkip | roleContrast | rolePatient | roleSelf | roleOther | roleAnd | roleOr | roleQuestion | roleWater | roleTube |
	roleTotal | roleCorrect | roleNot | roleMore | rolePlan | roleFuture | roleEach | rolePer | roleAt | roleHalfDay | roleIn | roleDate |
	rolePrior | rolePoured | roleOnly | roleApprox | roleBoth | roleLong | roleTimesWord | roleOnce | roleGreet | roleMine | roleGerund |
	roleTubeNoun | roleX | roleName | roleRate | roleSaying | roleWith | roleSum | roleWhole | rolePM | roleClause | roleDay | roleFormer

// account marks each token that something explains: a phrase, a cue, an
// answer, a number with a meaning, a name, or an everyday word. A word of a
// symptom phrase that no phrase took stays unexplained.
func (r *run) account() {
	for range r.toks {
		r.plain = append(r.plain, false)
	}
	for i := range r.toks {
		t := &r.toks[i]
		switch {
		case t.kind != word && t.kind != number, t.quoted(r), t.id == nameID:
			r.plain[i] = true
		case t.kind == word && t.id >= 0:
			in := &r.l.info[t.id]
			r.plain[i] = in.everyday || in.roles&plainRoles != 0 || in.unit != noUnit && !in.clinical
		case t.kind == word:
			r.plain[i] = t.end-t.start <= 2
		}
	}
	for i := range r.matches {
		m := &r.matches[i]
		for k := m.from; k < m.to; k++ {
			if m.took(k) {
				r.plain[k] = true
			}
		}
	}
	for i := range r.facts {
		for k := r.facts[i].from; k < r.facts[i].to; k++ {
			if r.facts[i].mask>>(min(k-r.facts[i].from, 63))&1 == 1 {
				r.plain[k] = true
			}
		}
	}
	for k := range r.quants {
		q := &r.quants[k]
		ok := q.role != qUnknown || q.unit != noUnit && !q.unit.volume() || r.counts(q)
		for i := q.from; i < q.to; i++ {
			r.plain[i] = r.plain[i] || ok
		}
		if q.role == qSugar || q.role == qOxygen || q.role == qTemp || q.role == qWeight {
			for i := max(0, q.from-5); i < min(len(r.toks), q.to+3); i++ { // "sugar 112": the word that the number is of
				r.plain[i] = r.plain[i] || r.has(i, roleSugar|roleOxygen|roleTemp|roleWeight)
			}
		}
	}
}

// counts tells whether a bare number counts the everyday word after it ("2
// episodes", "3 of us"), or a unit after an everyday amount.
func (r *run) counts(q *quant) bool {
	if q.val >= 20 {
		return false
	}
	if q.from < len(r.toks) && r.toks[q.from].kind == word {
		return true // "one of those days"
	}
	t := q.to
	return t < len(r.toks) && r.toks[t].kind == word && r.toks[t].id >= 0 && r.l.info[r.toks[t].id].everyday
}

// handle decides who must see the text. Danger comes first, then whatever a
// person must know, then what could not be read; only what is left is auto.
func (r *run) handle(out *Reading, asked *Asked, v volumes) {
	say := func(handling, why string) { out.Handling, out.Why = handling, why }
	alert := r.alert()
	for i := range r.facts {
		f := &r.facts[i]
		if f.status == Present && (f.emergency || f.alertable && !alert) {
			say(Emergency, "danger said to be there: "+r.quoteOf(f.from, f.to))
			return
		}
	}
	if m := r.intentAt("emergency"); m != nil {
		say(Emergency, "danger said: "+r.quoteOf(m.from, m.to))
		return
	}
	if len(out.Present) > 0 {
		for i := range r.facts {
			if f := &r.facts[i]; f.status == Present {
				say(Nurse, "said to be there: "+r.quoteOf(f.from, f.to))
				return
			}
		}
	}
	for i := range r.facts {
		f := &r.facts[i]
		if (f.emergency || f.alertable) && f.status != Absent && f.status != Present {
			say(Nurse, "danger spoken of, though not as there now: "+r.quoteOf(f.from, f.to))
			return
		}
	}
	if m := r.intentAt("tell"); m != nil {
		say(Nurse, "a person should know: "+r.quoteOf(m.from, m.to))
		return
	}
	if slices.Contains(out.Intent, "help") {
		say(Nurse, "asks for help")
		return
	}
	if slices.Contains(out.Intent, "question") && !r.planAnswers() {
		say(Nurse, "a question that the regimen does not answer")
		return
	}
	for k := range r.quants {
		if q := &r.quants[k]; q.role == qTemp && (r.fever(q)) {
			say(Nurse, "a temperature of fever: "+r.quoteOf(q.from, q.to))
			return
		}
	}
	if why := r.feedTrouble(out, asked, v); why != "" {
		say(Nurse, why)
		return
	}
	if len(out.Unread) > 0 {
		say(Nurse, "words that nothing accounts for: "+out.Unread[0])
		return
	}
	say(Auto, r.whyAuto(out))
}

// alert tells whether the person is said to answer and look, and not denied to.
func (r *run) alert() bool {
	for i := range r.cues {
		if r.cues[i].label != cueAlert {
			continue
		}
		denied := false
		for k := range r.cues {
			c := &r.cues[k]
			denied = denied || (c.label == cueNegate || c.label == cueNoun) && c.to <= r.cues[i].from && r.cues[i].from-c.to <= 3
		}
		if !denied {
			return true
		}
	}
	return false
}

// feedTrouble says what about the amount fed a person must see, or nothing.
func (r *run) feedTrouble(out *Reading, asked *Asked, v volumes) string {
	if asked == nil || asked.Kind == Checkin {
		if r.skipped() || r.stoppedFeed() {
			return "the feed was stopped or not given"
		}
	}
	if asked == nil {
		return ""
	}
	feedEnd := asked.Kind == FeedEnd
	if feedEnd && out.GivenML != nil && asked.ExpectedML != nil && *asked.ExpectedML > 0 && !v.prior {
		per := float64(*out.GivenML) * 100 / float64(*asked.ExpectedML)
		switch {
		case *out.GivenML == 0:
			return "the feed was not given"
		case per < r.l.limits.ShortPercent:
			return "the feed was short"
		case per > r.l.limits.OverPercent:
			return "more than the feed was given"
		}
	}
	if (feedEnd || asked.Kind == FeedStart) && (r.skipped() || out.GivenML != nil && *out.GivenML == 0) {
		return "the feed was not given"
	}
	if feedEnd && (r.said("stopped") || r.said("refused")) && out.GivenML == nil {
		return "the feed was stopped"
	}
	if v.uncertain && out.GivenML == nil && (feedEnd || asked.Kind == Checkin) {
		return "an amount that cannot be known"
	}
	if feedEnd && out.GivenML == nil && out.Done == nil && r.words() == 0 && len(r.quants) > 0 {
		return "a number that cannot be the amount"
	}
	if feedEnd && r.said("partly") && out.GivenML == nil {
		return "an amount that cannot be known"
	}
	return ""
}

func (r *run) skipped() bool { return r.said("skipped") || r.said("refused") }

func (r *run) whyAuto(out *Reading) string {
	switch {
	case slices.Contains(out.Intent, "opt_out"):
		return "asks for no more texts"
	case out.GivenML != nil:
		return "an amount as expected, and nothing else"
	case len(out.Absent) > 0:
		return "trouble is denied, and every word is accounted for"
	case len(out.Intent) > 0:
		return "nothing but: " + out.Intent[0]
	case out.Done != nil:
		return "an answer to what was asked, and nothing else"
	}
	return "every word is everyday"
}

// quoteOf is the text of tokens [from, to), cut to a length that fits a line.
func (r *run) quoteOf(from, to int) string {
	q := r.text[r.toks[from].start:r.toks[to-1].end]
	if len(q) > 80 {
		q = q[:80]
		for len(q) > 0 && q[len(q)-1]&0xC0 == 0x80 {
			q = q[:len(q)-1]
		}
		if len(q) > 0 && q[len(q)-1] >= 0xC0 {
			q = q[:len(q)-1]
		}
	}
	return q
}

// stoppedFeed tells whether the text says of something that it was stopped,
// and not only the bare word.
func (r *run) stoppedFeed() bool {
	for i := range r.matches {
		if m := &r.matches[i]; m.pat.what == whatAnswer && m.pat.label == "stopped" && m.to-m.from > 1 {
			return true
		}
	}
	return false
}
