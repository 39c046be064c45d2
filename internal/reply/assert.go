package reply

import "slices"

// Assertion follows the published NegEx and ConText algorithms: a cue has a
// direction and a scope, and the scope ends at a contrast, at the end of the
// sentence, or where a new statement starts. What is added for caregivers'
// texts: a list keeps the scope of its "no" ("no fever, cough or vomiting") and
// a finite verb leaves it ("no fever, threw up twice"); the nearest subject
// says whose symptom it is.

// cue is one cue found: tokens [from, to) and its label.
type cue struct {
	from, to int
	label    string
}

// Labels of cues in the lists.
const (
	cueNegate     = "negate"         // forward, verbs and nouns: "not", "denies"
	cueNoun       = "negate_noun"    // forward, nouns only: "no", "without"
	cueAfter      = "negate_after"   // backward: "negative", "none"
	cuePseudo     = "pseudo"         // looks like a cue and is none: "not only"
	cuePast       = "past"           // either way: "last week"
	cueGone       = "resolved"       // backward: "is gone"
	cueIf         = "possible"       // forward: "if", "in case"
	cueMay        = "possible_weak"  // forward, not for emergencies: "might"
	cueMayAfter   = "possible_after" // backward
	cueOtherAfter = "other_after"    // backward: "that is me, not him"
	cueEllipsis   = "denied_here"    // "he isn't": denies what was said of another
	cueSince      = "since"          // "since last night"
	cueCeased     = "ceased"         // "no longer", "any more": it was there until lately
	cueLongOver   = "long_over"      // "all week": what ceased did so long ago
	cueNotSince   = "not_since"      // "nothing since": denies what is past
	cueAlert      = "alert"          // "looks at me": answers the limp and the sleepy
)

// found is a symptom phrase in the text with what is known of it.
type found struct {
	codes     []string
	emergency bool
	alertable bool
	from, to  int
	mask      uint64
	status    string
	by        int // token of the cue that decided, or -1
	count     float64
	counted   bool
	since     string
	severity  string
}

// personal are the codes of which somebody is the bearer, so that they can be
// another person's; a pump or a tube in this text is always the household's.
func personal(code string) bool {
	switch code {
	case "tube_out", "tube_moved", "tube_blocked", "leak", "pump", "supplies", "caregiver_strain", "self_harm":
		return false
	}
	return true
}

// assert decides the status of f.
func (r *run) assert(f *found) {
	f.by = -1
	f.status = Present
	others := r.otherPerson(f)
	switch {
	case others >= 0:
		f.status, f.by = Other, others
	case r.echoed(f):
	case r.decide(f, cueIf, Possible), r.decideBack(f, cueMayAfter, Possible, 6):
	case r.negated(f):
	case !f.emergency && r.decide(f, cueMay, Possible):
	case r.past(f):
	case !f.emergency && !r.today(f) && r.decideBack(f, cueGone, Past, 5):
	default:
		f.status, f.by = Present, -1
	}
}

// decide looks for a forward cue whose scope reaches f.
func (r *run) decide(f *found, label, status string) bool {
	for k := len(r.cues) - 1; k >= 0; k-- {
		c := &r.cues[k]
		if c.label != label || c.from >= f.from || c.to > f.to {
			continue
		}
		if r.openIf(c.to, f.from) && !r.deniedCue(c) {
			f.status, f.by = status, c.from
			return true
		}
	}
	return false
}

// openIf tells whether a hypothesis that starts at a still holds at b: it ends
// with the sentence, at a contrast, and at a comma where a new subject starts.
func (r *run) openIf(a, b int) bool {
	for i := a; i < b; i++ {
		switch {
		case r.toks[i].kind == stop, r.has(i, roleContrast):
			return false
		case r.toks[i].kind == comma && (r.has(i+1, rolePatient|roleFinite|roleSelf|roleQuestion) || b-i > 4):
			return false
		}
	}
	return b-a < 16
}

func (r *run) decideBack(f *found, label, status string, reach int) bool {
	for k := range r.cues {
		c := &r.cues[k]
		if c.label != label || c.from < f.to {
			continue
		}
		if r.nearAfter(f.to, c.from, reach) {
			f.status, f.by = status, c.from
			return true
		}
	}
	return false
}

func (r *run) nearAfter(a, b, reach int) bool {
	if b-a > reach {
		return false
	}
	for i := a; i < b; i++ {
		if r.toks[i].kind == stop || r.has(i, roleContrast|roleClause) {
			return false
		}
		if r.toks[i].kind == comma && r.toks[i].sym != ',' {
			return false
		}
	}
	return true
}

// negated looks for a negation inside f's gaps, before f, and after it.
func (r *run) negated(f *found) bool {
	for k := range r.cues {
		c := &r.cues[k]
		if c.label != cueNegate && c.label != cueNoun {
			continue
		}
		inGap := c.label == cueNegate && c.from > f.from && c.to <= f.to && !(&match{from: f.from, to: f.to, mask: f.mask}).took(c.from)
		if inGap || c.to <= f.from && r.negationHolds(c, f) {
			f.status, f.by = Absent, c.from
			if r.ceased(c, f) {
				f.status = Present // what ended today or last night is still told
			}
			return true
		}
	}
	for k := range r.cues {
		c := &r.cues[k]
		if c.label == cueAfter && c.from >= f.to && r.nearAfter(f.to, c.from, 5) && !r.factBetween(f.to, c.from) {
			f.status, f.by = Absent, c.from
			return true
		}
	}
	return false
}

// ceased tells whether the denial c of f says that it was there until lately:
// "no longer vomiting", "not seizing any more", and no word that this is long ago.
func (r *run) ceased(c *cue, f *found) bool {
	from, to := r.sentence(f.from)
	over := false
	for k := range r.cues {
		o := &r.cues[k]
		switch {
		case o.from < from || o.to > to:
		case o.label == cueLongOver:
			return false
		case o.label == cueCeased:
			over = over || o.from <= c.from && o.to >= c.to || o.from >= f.to && o.from-f.to <= 3
		}
	}
	return over
}

func (r *run) factBetween(a, b int) bool {
	for i := range r.facts {
		if r.facts[i].from >= a && r.facts[i].to <= b {
			return true
		}
	}
	return false
}

// negationHolds tells whether the scope of cue c reaches f.
func (r *run) negationHolds(c *cue, f *found) bool {
	if c.to < len(r.toks) && r.toks[c.to].kind == comma && c.to-c.from == 1 && r.answers(c) {
		return false // "no, he threw up": an answer
	}
	if f.from-c.to > 24 {
		return false
	}
	finite := r.has(f.from, roleFinite)
	if finite && c.label == cueNoun && f.from > c.to {
		return false
	}
	commas, joined := false, false
	for i := c.to; i < f.from; i++ {
		t := &r.toks[i]
		switch {
		case t.kind == stop, r.has(i, roleContrast|roleClause):
			return false
		case t.kind == comma, r.isMark(i, '+'):
			commas = true
			if r.startsAnew(i+1, f.from) {
				return false
			}
			if t.sym != ',' && !r.has(i+1, roleGerund|roleOr) {
				return false
			}
		case r.has(i, roleAnd):
			joined = true
			if r.startsAnew(i+1, f.from) {
				return false
			}
		case r.has(i, roleFinite) && (commas || joined) && i > c.to+1:
			return false
		}
	}
	if finite && (commas || joined) {
		return false
	}
	if !commas && f.from-c.to > 12 {
		return false // too far for anything but a list
	}
	if (f.counted || f.since != "") && (commas || joined) {
		return false // "no fever, diarrhea x3"
	}
	return true
}

// startsAnew tells whether a new statement starts at i: a subject or a verb.
func (r *run) startsAnew(i, end int) bool {
	for n := 0; i < end && n < 3 && r.isSkip(i); n++ {
		i++
	}
	return i <= end && (r.has(i, roleFinite|rolePatient|roleSelf|roleOther|roleTubeNoun) && !r.has(i, roleMine))
}

// answers tells whether cue c stands first in its sentence.
func (r *run) answers(c *cue) bool {
	for i := c.from - 1; i >= 0; i-- {
		if r.toks[i].kind == stop || r.toks[i].quoted(r) {
			return true
		}
		if !r.has(i, roleSkip|roleGreet) {
			return false
		}
	}
	return true
}

// past looks for a cue of long ago in the statement of f.
func (r *run) past(f *found) bool {
	for k := range r.cues {
		c := &r.cues[k]
		if c.label != cuePast {
			continue
		}
		a, b := c.to, f.from
		if c.from >= f.to {
			a, b = f.to, c.from
		}
		if b-a > 10 {
			continue
		}
		open := true
		for i := a; i < b; i++ {
			if r.toks[i].kind == stop || r.has(i, roleContrast|roleDay) || r.toks[i].kind == comma && r.startsAnew(i+1, b) {
				open = false
			}
		}
		if open {
			f.status, f.by = Past, c.from
			return true
		}
	}
	return false
}

// today tells whether the sentence of f says today or last night.
func (r *run) today(f *found) bool {
	from, to := r.sentence(f.from)
	for i := from; i < to; i++ {
		if r.has(i, roleDay) {
			return true
		}
	}
	return false
}

// otherPerson is the token that says f is another person's, or -1.
func (r *run) otherPerson(f *found) int {
	if !slices.ContainsFunc(f.codes, personal) {
		return -1
	}
	for k := range r.cues {
		if c := &r.cues[k]; c.label == cueOtherAfter && c.from >= f.to && r.nearAfter(f.to, c.from, 6) {
			return c.from
		}
	}
	saying := false
	for i := f.from; i >= 0 && r.toks[i].kind != stop; i-- {
		if i < f.from && r.toks[i].quoted(r) {
			break
		}
		switch {
		case r.has(i, roleSaying):
			saying = true
		case r.has(i, roleOther):
			if saying || r.possessed(i, f) || (f.emergency || f.alertable) && r.has(i, roleElder) {
				return -1
			}
			return i
		case r.has(i, rolePatient) && !(r.has(i, roleMine) && r.has(i+1, roleOther)):
			return -1
		case r.has(i, roleSelf):
			if !saying && !f.emergency && !f.alertable && f.from-i <= 4 && r.thirdPerson() && !r.finiteBefore(i, f.from) {
				return i
			}
			if !r.has(i, roleMine) {
				return -1
			}
		}
	}
	return -1
}

// possessed tells whether the other person at i only stands in a place or
// company of the patient ("at her grandma's"): a preposition goes before.
func (r *run) possessed(i int, f *found) bool {
	for n := 0; i > 0 && n < 2 && r.has(i-1, roleMine|roleSkip); n++ {
		i--
	}
	return r.has(i-1, roleAt|roleWith)
}

// finiteBefore tells whether between the writer and the symptom stands a verb
// of doing, so that the symptom is not the writer's ("I cleaned his vomit").
func (r *run) finiteBefore(i, end int) bool {
	for i++; i < end; i++ {
		if r.has(i, roleGave) {
			return true
		}
	}
	return false
}

// thirdPerson tells whether the text speaks of the person fed as he or she.
func (r *run) thirdPerson() bool {
	for i := range r.toks {
		if r.has(i, rolePatient) {
			return true
		}
	}
	return false
}

// deniedCue tells whether a cue is itself denied: "no signs of" is a denial.
func (r *run) deniedCue(c *cue) bool {
	for k := range r.cues {
		n := &r.cues[k]
		if (n.label == cueNegate || n.label == cueNoun) && n.to <= c.from && c.from-n.to <= 4 && r.samePart(n.to, c.from) {
			return true
		}
	}
	return false
}

// echoed reads an asked symptom and its answer: "blood in his stool? no".
func (r *run) echoed(f *found) bool {
	i := f.to
	for i < len(r.toks) && r.toks[i].kind != stop {
		i++
	}
	if i+1 >= len(r.toks) || r.toks[i].sym != '?' || i-f.to > 4 {
		return false
	}
	for k := range r.cues {
		if c := &r.cues[k]; c.from == i+1 && (c.label == cueNegate || c.label == cueNoun) {
			f.status, f.by = Absent, c.from
			return true
		}
	}
	return false
}
