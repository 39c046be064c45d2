package protocol

import "math"

// A fact that conditions may speak of. Each is a whole number, a truth (0, 1)
// or one of a few words (their place in the list).
type factDef struct {
	name  string
	kind  factKind
	words []string // of a word fact
	// household facts that are not known may have any value, so a rule that
	// raises applies; what a text may say and did not is false of any comparison.
	household bool
	min, max  int64 // the values a number can have
	doc       string
}

type factKind int

const (
	truth factKind = iota
	number
	word
)

// values holds one value a fact, by the fact's index.
type values struct {
	v     []int64
	known []bool
}

func newValues(n int) values { return values{make([]int64, n), make([]bool, n)} }

func (vs values) set(i int, v int64) { vs.v[i], vs.known[i] = v, true }

func (vs values) flag(i int, b bool) {
	if b {
		vs.set(i, 1)
	} else {
		vs.set(i, 0)
	}
}

const most = math.MaxInt32

// The facts that are not symptom codes, triggers, marks or answers. Their
// order is fixed by the constants below.
var plainFacts = []factDef{
	{name: "handling", kind: word, words: []string{"auto", "nurse", "emergency"}, doc: "what the reading says must happen"},
	{name: "count", kind: number, max: most, doc: "how many times, of the symptom that opens the protocol; the most said"},
	{name: "since_min", kind: number, max: most, doc: "minutes since it began; the longest said"},
	{name: "severity", kind: word, words: []string{"mild", "moderate", "severe"}, doc: "how bad; the worst said"},
	{name: "repeats_24h", kind: number, max: most, doc: "earlier texts with the same symptom in 24 hours"},
	{name: "repeats_72h", kind: number, max: most, doc: "earlier texts with the same symptom in 72 hours"},
	{name: "tube", kind: word, words: Tubes, household: true, doc: "kind of tube"},
	{name: "tract_days", kind: number, household: true, max: most, doc: "days since the tube's tract was made"},
	{name: "placed_known", kind: truth, doc: "the day on which the tract was made is known"},
	{name: "age_months", kind: number, household: true, max: 1500, doc: "age of the person fed"},
	{name: "longest_gap_min", kind: number, max: most, doc: "minutes that feed may stop at most; where set"},
	{name: "other_lines", kind: truth, doc: "has another line that something could be connected to"},
	{name: "taught", kind: truth, doc: "the caregiver was taught to replace the tube"},
	{name: "sugar_lowering", kind: truth, doc: "takes something that lowers the blood sugar"},
	{name: "critical_medicine", kind: truth, doc: "has a medicine that may not be missed"},
	{name: "fed_24h_ml", kind: number, max: most, doc: "formula reported given in the last 24 hours"},
	{name: "fed_24h_pct", kind: number, max: most, doc: "of what was prescribed for those hours"},
	{name: "days_enrolled", kind: number, household: true, max: most, doc: "days since the household joined"},
	{name: "days_since_hospital", kind: number, max: most, doc: "days since a hospital stay ended; where one is known"},
	{name: "silent_days", kind: number, max: most, doc: "whole feed days without a word"},
	{name: "no_answer", kind: truth, doc: "a question of this case was left unanswered"},
	{name: "number_unknown", kind: truth, doc: "the phone belongs to no household"},
}

const (
	fHandling = iota
	fCount
	fSinceMin
	fSeverity
	fRepeats24h
	fRepeats72h
	fTube
	fTractDays
	fPlacedKnown
	fAgeMonths
	fLongestGapMin
	fOtherLines
	fTaught
	fSugarLowering
	fCriticalMedicine
	fFed24hML
	fFed24hPct
	fDaysEnrolled
	fDaysSinceHospital
	fSilentDays
	fNoAnswer
	fNumberUnknown
	plainCount
)

// vocabulary is every fact of a flows tree: the plain ones, then one truth a
// code, trigger and mark. A protocol's answers follow after these.
type vocabulary struct {
	defs  []factDef
	index map[string]int
}

func newVocabulary(marks []string) *vocabulary {
	v := &vocabulary{index: map[string]int{}}
	for _, d := range plainFacts {
		v.add(d)
	}
	for _, c := range Codes {
		v.add(factDef{name: c, kind: truth, doc: "symptom present"})
	}
	for _, t := range Triggers {
		v.add(factDef{name: t, kind: truth, doc: "trigger"})
	}
	for _, m := range marks {
		v.add(factDef{name: m, kind: truth, doc: "word in the text"})
	}
	return v
}

func (v *vocabulary) add(d factDef) {
	v.index[d.name] = len(v.defs)
	v.defs = append(v.defs, d)
}

// with returns a vocabulary that has these facts too.
func (v *vocabulary) with(defs []factDef) *vocabulary {
	w := &vocabulary{index: map[string]int{}}
	for _, d := range v.defs {
		w.add(d)
	}
	for _, d := range defs {
		w.add(d)
	}
	return w
}

func (d factDef) wordIndex(s string) (int64, bool) {
	for i, w := range d.words {
		if w == s {
			return int64(i), true
		}
	}
	return 0, false
}
