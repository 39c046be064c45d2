package protocol

import (
	"fmt"
	"slices"

	"hearthline/internal/journal"
)

// householdFlags are the truths and numbers that belong to a household rather
// than to a text, besides the facts that are marked so.
var householdFlags = []int{fTaught, fPlacedKnown, fOtherLines, fSugarLowering, fCriticalMedicine, fLongestGapMin}

// contradictions finds two advice texts, of any protocols, that one and the
// same household could get and that contradict each other.
func (s *Set) contradictions() []Finding {
	var found []Finding
	for i, pair := range s.contradict {
		if f, ok := s.contradicts(pair[0], pair[1]); ok {
			at := s.adviceSrc.at(fmt.Sprintf("$.contradict[%d]", i))
			found = append(found, Finding{at.file, at.line, "contradict", f})
		}
	}
	return found
}

// contradicts walks every kind of household and, for each, every case of the
// protocols that may tell a or b.
func (s *Set) contradicts(a, b string) (string, bool) {
	var about []*protocol
	var conditions []*condition
	for _, p := range s.protocols {
		if s.mayTell(p, a) || s.mayTell(p, b) {
			about = append(about, p)
			conditions = append(conditions, s.conditionsOf(p)...)
		}
	}
	if len(about) == 0 {
		return "", false
	}
	households := householdAxes(s.vocab, conditions)
	vs := newValues(len(s.vocab.defs))
	what, is := "", false
	walkCells(households, &vs, func([]int) bool {
		var first, second string
		for _, p := range about {
			keyA, keyB := s.told(p, &vs, a, b)
			if first == "" {
				first = keyA
			}
			if second == "" {
				second = keyB
			}
		}
		if first != "" && second != "" {
			w := prover{p: &protocol{vocab: s.vocab}, axes: households, vs: vs}
			what, is = fmt.Sprintf("one household may be told to %s (%s) and to %s (%s); household: %s", a, first, b, second, w.show()), true
		}
		return !is
	})
	return what, is
}

func (s *Set) mayTell(p *protocol, tell string) bool {
	keys := []string{p.file.Advice}
	for _, r := range p.rules {
		keys = append(keys, r.Advice)
	}
	return slices.ContainsFunc(keys, func(k string) bool { return slices.Contains(s.advice[k].Tells, tell) })
}

// householdAxes cuts the facts of a household, as far as conditions speak of them.
func householdAxes(v *vocabulary, conditions []*condition) []axis {
	return slices.DeleteFunc(axes(v, conditions), func(a axis) bool {
		return !v.defs[a.fact].household && !slices.Contains(householdFlags, a.fact)
	})
}

// told returns an advice of p, short of an emergency, that tells a and one
// that tells b, for the household whose facts are in home; "" for none.
func (s *Set) told(p *protocol, home *values, a, b string) (keyA, keyB string) {
	w := &prover{set: s, p: p, vs: newValues(len(p.vocab.defs))}
	w.axes = slices.DeleteFunc(axes(p.vocab, s.conditionsOf(p)), func(x axis) bool {
		return p.vocab.defs[x.fact].household || slices.Contains(householdFlags, x.fact)
	})
	w.pinOpening()
	for i := plainCount; i < len(w.vs.v); i++ {
		w.vs.flag(i, false)
	}
	w.openFixed()
	for i := range plainCount {
		w.vs.v[i], w.vs.known[i] = home.v[i], home.known[i]
	}
	walkCells(w.axes, &w.vs, func([]int) bool {
		if !w.open() {
			return true
		}
		v := s.verdict(p, &w.vs, false)
		if v.Answer != journal.AnswerEmergency {
			if slices.Contains(s.advice[v.Advice].Tells, a) {
				keyA = v.Advice
			}
			if slices.Contains(s.advice[v.Advice].Tells, b) {
				keyB = v.Advice
			}
		}
		return keyA == "" || keyB == ""
	})
	return keyA, keyB
}
