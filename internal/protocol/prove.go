package protocol

import (
	"fmt"
	"slices"
	"strings"

	"hearthline/internal/journal"
)

// MaxCells is the size above which a protocol is too big for a clinician to
// sign, and is refused.
const MaxCells = 200_000

// prover walks every case of one protocol.
type prover struct {
	set   *Set
	p     *protocol
	axes  []axis
	vs    values
	cells int
	said  map[string]bool // breaches reported already, one of a kind
	found []Finding
	fired []bool // rules that ever hold
	made  map[string][2]Verdict
	// of the walk over paths: questions that are ever asked, and paths so far
	asked  []bool
	walked int
	path   []string // answers on the way to the case at hand
}

// prove walks all cells of a protocol's facts, and all paths of answers from
// them. It returns how many there were of each, and each kind of breach once,
// with the case that shows it.
func (s *Set) prove(p *protocol) (cells, paths int, found []Finding) {
	w := &prover{set: s, p: p, vs: newValues(len(p.vocab.defs)), said: map[string]bool{}, fired: make([]bool, len(p.rules)), made: map[string][2]Verdict{}}
	w.axes = axes(p.vocab, s.conditionsOf(p))
	w.pinOpening()
	if product(w.axes, MaxCells) > MaxCells {
		var sizes []string
		for _, a := range w.axes {
			sizes = append(sizes, fmt.Sprintf("%s %d", p.vocab.defs[a.fact].name, len(a.cells)))
		}
		w.breach("size", "$.rules", "has more than %d cells, too big to sign: cells by fact are %s", MaxCells, strings.Join(sizes, ", "))
		return 0, 0, w.found
	}
	for i := plainCount; i < len(w.vs.v); i++ {
		w.vs.flag(i, false)
	}
	w.openFixed()
	walkCells(w.axes, &w.vs, w.visit)
	for i, r := range p.rules {
		if !w.fired[i] {
			w.breach("never "+r.ID, fmt.Sprintf("$.rules[%d].when", i), "rule %q can never hold", r.ID)
		}
	}
	paths = w.paths()
	return w.cells, paths, w.found
}

// conditionsOf lists the conditions that decide within a protocol, and those
// that its advice must meet.
func (s *Set) conditionsOf(p *protocol) []*condition {
	var list []*condition
	advice := []string{p.file.Advice, p.file.EmergencyAdvice}
	for _, r := range p.rules {
		list = append(list, r.when)
		advice = append(advice, r.Advice)
	}
	if p.settle != nil {
		list = append(list, p.settle)
	}
	for _, q := range p.questions {
		if q.when != nil {
			list = append(list, q.when)
		}
	}
	for _, tell := range sortedKeys(s.onlyWhen) {
		for _, key := range advice {
			if slices.Contains(s.advice[key].Tells, tell) {
				list = append(list, s.onlyWhen[tell])
				break
			}
		}
	}
	return list
}

// opening returns the facts of which at least one is true when the protocol is open.
func (w *prover) opening() []int {
	var list []int
	for _, name := range append(slices.Clone(w.p.file.Opens.Codes), w.p.file.Opens.Triggers...) {
		list = append(list, w.p.vocab.index[name])
	}
	return list
}

// pinOpening fixes the one fact that opens the protocol, where there is but one.
func (w *prover) pinOpening() {
	opening := w.opening()
	for i, a := range w.axes {
		if len(opening) == 1 && a.fact == opening[0] {
			w.axes[i].cells = []cell{{true, 1}}
		}
	}
}

// openFixed sets an opening fact that no condition speaks of, so that every
// case walked is one in which the protocol is open.
func (w *prover) openFixed() {
	for _, f := range w.opening() {
		if !slices.ContainsFunc(w.axes, func(a axis) bool { return a.fact == f }) {
			w.vs.flag(f, true)
			return
		}
	}
}

func (w *prover) open() bool {
	for _, f := range w.opening() {
		if w.vs.v[f] == 1 {
			return true
		}
	}
	return false
}

func (w *prover) visit(at []int) bool {
	if !w.open() {
		return true
	}
	w.cells++
	// A verdict hangs on nothing but which rules may and which must hold, so
	// it is made once for each such pattern.
	pattern := make([]byte, 0, 64)
	for i, r := range w.p.rules {
		may, must := r.when.root.eval(&w.vs)
		w.fired[i] = w.fired[i] || may
		pattern = append(pattern, bit(may), bit(must))
	}
	made, ok := w.made[string(pattern)]
	if !ok {
		for i, emergency := range []bool{false, true} {
			made[i] = w.set.verdict(w.p, &w.vs, emergency)
			w.verdictHolds(made[i], emergency)
		}
		w.made[string(pattern)] = made
	}
	for _, v := range made {
		w.mayBeTold(v)
	}
	w.neverLater(at)
	return true
}

// mayBeTold checks that the advice is allowed in the case at hand.
func (w *prover) mayBeTold(v Verdict) {
	for _, tell := range w.set.advice[v.Advice].Tells {
		if c := w.set.onlyWhen[tell]; c != nil {
			if _, must := c.root.eval(&w.vs); !must {
				w.breach("tells "+tell+" "+v.Advice, "$.rules", "advice %q tells the family to %s where it may be forbidden (allowed only when %s)", v.Advice, tell, c.text)
			}
		}
	}
}

// verdictHolds checks one verdict on its own.
func (w *prover) verdictHolds(v Verdict, emergency bool) {
	tells := w.set.advice[v.Advice].Tells
	if emergency && v.Answer != journal.AnswerEmergency {
		w.breach("emergency", "$.case", "an emergency reading is answered as %s", v.Answer)
	}
	if v.Answer == journal.AnswerEmergency && !slices.Contains(tells, "call_emergency") {
		w.breach("advice of emergency "+v.Advice, "$.emergency_advice", "an emergency is answered with %q, which does not say to call the emergency number", v.Advice)
	}
	if v.GoesTo == "" || v.Answer == "" {
		w.breach("nobody", "$.case", "the case goes to nobody")
	}
	for _, tell := range tells {
		for _, kind := range w.set.withholds[tell] {
			if !slices.Contains(v.Hold, kind) {
				w.breach("hold "+kind+" "+v.Advice, "$.hold", "advice %q says %s while the prompt %s is not held", v.Advice, tell, kind)
			}
		}
	}
}

// neverLater checks that a red flag more never makes the answer later. (That
// knowing less of a household never does follows from how conditions are judged.)
func (w *prover) neverLater(at []int) {
	answer, within, _ := w.set.urgency(w.p, &w.vs)
	for i, a := range w.axes {
		if a.cells[at[i]] != (cell{true, 0}) || !w.redFlag(a.fact) {
			continue
		}
		w.vs.v[a.fact] = 1
		more, sooner, _ := w.set.urgency(w.p, &w.vs)
		w.vs.v[a.fact] = 0
		if moreUrgent(answer, within, more, sooner) {
			name := w.p.vocab.defs[a.fact].name
			w.breach("later "+name, "$.rules", "adding %s makes the answer later: %s %d instead of %s %d", name, more, sooner, answer, within)
		}
	}
}

// redFlag reports whether a truth is trouble: a symptom, a trigger or a mark.
func (w *prover) redFlag(fact int) bool {
	return fact >= plainCount && fact < len(w.set.vocab.defs)
}

// breach notes one kind of breach once, with the case that shows it.
func (w *prover) breach(kind, field, format string, args ...any) {
	if w.said[kind] {
		return
	}
	w.said[kind] = true
	text := fmt.Sprintf(format, args...)
	if kind != "size" {
		if shown := w.show(); shown != "" {
			text += "; case: " + shown
		}
		if len(w.path) > 0 {
			text += "; path: " + strings.Join(w.path, ", ")
		}
	}
	at := w.p.src.at(field)
	w.found = append(w.found, Finding{at.file, at.line, strings.TrimPrefix(field, "$."), text})
}

// show writes the case at hand: the facts that are true or known.
func (w *prover) show() string {
	var parts []string
	for _, a := range w.axes {
		d := w.p.vocab.defs[a.fact]
		switch {
		case !w.vs.known[a.fact]:
			if d.household {
				parts = append(parts, d.name+" not known")
			}
		case d.kind == truth:
			if w.vs.v[a.fact] == 1 {
				parts = append(parts, d.name)
			}
		case d.kind == word:
			parts = append(parts, d.name+" "+d.words[w.vs.v[a.fact]])
		default:
			parts = append(parts, fmt.Sprintf("%s %d", d.name, w.vs.v[a.fact]))
		}
	}
	return strings.Join(parts, ", ")
}
