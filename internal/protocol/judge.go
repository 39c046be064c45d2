package protocol

import (
	"slices"
	"sort"

	"hearthline/internal/journal"
)

// Advice keys that hold for a number that belongs to no household, of whose
// tube and regimen nothing is known.
const (
	unknownTrouble = "unknown.trouble"
	unknownHelp    = "unknown.help"
)

// Judge says what follows from the facts; false where nothing is wrong and no
// case is opened. An emergency in the reading is an emergency here, whatever
// else is said, and trouble that no protocol names is judged as a worry.
func (s *Set) Judge(f Facts) (Verdict, bool) {
	f, told := s.answered(f)
	base := s.valuesOf(f)
	for _, mark := range told {
		base.flag(mark, true)
	}
	opened := s.opened(f, &base)
	if len(opened) == 0 {
		return Verdict{}, false
	}
	verdicts := make([]Verdict, len(opened))
	for i, p := range opened {
		verdicts[i] = s.judge(p, f, base)
	}
	sort.SliceStable(verdicts, func(i, j int) bool { return verdicts[i].Before(verdicts[j]) })
	lead := verdicts[0]
	for _, v := range verdicts[1:] {
		lead.Others = append(lead.Others, v.Protocol)
		lead.PageAfter = min(lead.PageAfter, v.PageAfter)
		lead.Settled = lead.Settled || v.Settled // what led before may have been let wait
		if lead.Deadline == nil {
			lead.Deadline, lead.DeadlineSince = v.Deadline, v.DeadlineSince
		}
		for _, kind := range v.Hold {
			if !slices.Contains(lead.Hold, kind) {
				lead.Hold = append(lead.Hold, kind)
			}
		}
	}
	for _, sym := range f.Present {
		if !slices.Contains(lead.Codes, sym.Code) {
			lead.Codes = append(lead.Codes, sym.Code)
		}
	}
	return s.finish(lead, f), true
}

// opened lists the protocols that the facts open, each once.
func (s *Set) opened(f Facts, base *values) []*protocol {
	var list []*protocol
	add := func(ps []*protocol) {
		for _, p := range ps {
			if !slices.Contains(list, p) {
				list = append(list, p)
			}
		}
	}
	for _, sym := range f.Present {
		ps := s.byCode[sym.Code]
		if len(ps) == 0 {
			ps = s.byCode["other_worry"]
		}
		add(ps)
	}
	for _, t := range f.Triggers {
		ps := s.byTrigger[t]
		if len(ps) == 0 {
			ps = s.byTrigger["worry"]
		}
		add(ps)
	}
	for _, p := range s.protocols {
		if p.openWhen == nil {
			continue
		}
		if _, must := p.openWhen.root.eval(base); must {
			add([]*protocol{p})
		}
	}
	if len(list) == 0 && (f.Handling == "nurse" || f.Handling == "emergency") {
		add(s.byTrigger["worry"])
	}
	return list
}

// valuesOf lays the facts out for conditions. What belongs to one protocol
// (count, since, repeats, answers) is filled in by forProtocol.
func (s *Set) valuesOf(f Facts) values {
	vs := newValues(len(s.vocab.defs))
	for i := plainCount; i < len(s.vocab.defs); i++ {
		vs.flag(i, false)
	}
	word := func(i int, w string) {
		if n, ok := s.vocab.defs[i].wordIndex(w); ok {
			vs.set(i, n)
		}
	}
	number := func(i int, n *int) {
		if n != nil {
			vs.set(i, int64(*n))
		}
	}
	word(fHandling, f.Handling)
	word(fTube, f.TubeKind)
	number(fTractDays, f.DaysSincePlacement)
	vs.flag(fPlacedKnown, f.DaysSincePlacement != nil)
	number(fAgeMonths, f.AgeMonths)
	number(fFed24hPct, f.FedPercent24h)
	number(fDaysEnrolled, f.DaysEnrolled)
	number(fDaysSinceHospital, f.DaysSinceHospital)
	number(fSilentDays, f.SilentDays)
	if f.LongestGapH != nil {
		vs.set(fLongestGapMin, int64(*f.LongestGapH*60))
	}
	vs.flag(fOtherLines, f.OtherLines)
	vs.flag(fTaught, f.TaughtToReplace)
	vs.flag(fSugarLowering, f.SugarLowering)
	vs.flag(fCriticalMedicine, f.CriticalMedicine)
	vs.flag(fNoAnswer, f.NoAnswer)
	vs.flag(fNumberUnknown, f.Unknown)
	vs.set(fFed24hML, int64(f.FedLast24h))
	for _, sym := range f.Present {
		if i, ok := s.vocab.index[sym.Code]; ok && slices.Contains(Codes, sym.Code) {
			vs.flag(i, true)
		}
	}
	for _, t := range f.Triggers {
		if i, ok := s.vocab.index[t]; ok && slices.Contains(Triggers, t) {
			vs.flag(i, true)
		}
	}
	first := plainCount + len(Codes) + len(Triggers)
	for i, is := range s.marks.find(f.Text) {
		vs.flag(first+i, is)
	}
	return vs
}

// forProtocol adds what the protocol's own symptoms and answers say.
func (s *Set) forProtocol(p *protocol, f Facts, base values) values {
	vs := newValues(len(p.vocab.defs))
	copy(vs.v, base.v)
	copy(vs.known, base.known)
	most := func(i int, n int64) {
		if !vs.known[i] || vs.v[i] < n {
			vs.set(i, n)
		}
	}
	for _, sym := range f.Present {
		if !slices.Contains(p.file.Opens.Codes, sym.Code) {
			continue
		}
		if sym.Count != nil {
			most(fCount, int64(*sym.Count))
		}
		if sym.SinceMin != nil {
			most(fSinceMin, int64(*sym.SinceMin))
		}
		if n, ok := s.vocab.defs[fSeverity].wordIndex(sym.Severity); ok {
			most(fSeverity, n)
		}
	}
	for _, code := range p.file.Opens.Codes {
		if n, ok := f.Repeats24h[code]; ok {
			most(fRepeats24h, int64(n))
		}
		if n, ok := f.Repeats72h[code]; ok {
			most(fRepeats72h, int64(n))
		}
	}
	if len(f.Answers) == 0 {
		return vs
	}
	for _, q := range p.questions {
		if answer, ok := f.Answers[p.name+"."+q.ID]; ok && q.Sets == "" {
			if n, ok := q.value(answer); ok {
				vs.set(q.fact, n)
			}
		}
	}
	return vs
}

// judge gives one protocol's verdict.
func (s *Set) judge(p *protocol, f Facts, base values) Verdict {
	vs := s.forProtocol(p, f, base)
	v := s.verdict(p, &vs, f.Handling == "emergency")
	if p.deadline != nil {
		if may, _ := p.deadline.root.eval(&vs); may {
			left := p.file.Deadline.Minutes - f.TravelMin
			if f.SinceBeganMin != nil {
				left -= journal.Minutes(*f.SinceBeganMin)
			}
			left = max(0, left)
			v.Deadline, v.DeadlineSince = &left, f.SinceBeganMin != nil
		}
	}
	return v
}

// verdict applies a protocol's rules to values. A rule that raises applies as
// soon as it may hold; one that only chooses words or withholds prompts, only
// where it certainly holds (words) or may hold (withholding).
func (s *Set) verdict(p *protocol, vs *values, emergency bool) Verdict {
	c := p.file.Case
	why, raised := "", false
	v := Verdict{Protocol: p.name, Title: p.title, rank: p.file.Rank}
	v.Hold = append(v.Hold, p.file.Hold...)
	page := c.PageAfterMin
	var advice []rule
	for _, r := range p.rules {
		may, must := r.when.root.eval(vs)
		if !may {
			continue
		}
		for _, kind := range r.Hold {
			if !slices.Contains(v.Hold, kind) {
				v.Hold = append(v.Hold, kind)
			}
		}
		if r.GoesTo != "" && !raised {
			c.GoesTo = r.GoesTo
		}
		if r.Case != nil {
			raised = true
			if moreUrgent(r.Case.Answer, r.Case.WithinMin, c.Answer, c.WithinMin) {
				c, why = *r.Case, r.Why
			}
			page = min(page, r.Case.PageAfterMin)
		}
		if r.Advice != "" && (must || r.Case != nil) {
			advice = append(advice, r)
		}
	}
	if p.settle != nil && !raised && !emergency {
		if _, must := p.settle.root.eval(vs); must {
			c, why, v.Settled = p.file.Settle.Case, p.file.Settle.Why, true
		}
	}
	v.Advice = p.file.Advice
	if emergency && c.Answer != journal.AnswerEmergency {
		c = caseFile{Answer: journal.AnswerEmergency, GoesTo: "nurse"}
		why = ""
		v.Advice = p.file.EmergencyAdvice
		advice = nil
	}
	if c.Answer == journal.AnswerEmergency {
		page = 0
		v.Hold = slices.Clone(PromptKinds)
		if p.file.Case.Answer != journal.AnswerEmergency {
			v.Advice = p.file.EmergencyAdvice
		}
	}
	for _, r := range advice {
		if c.Answer != journal.AnswerEmergency || (r.Case != nil && r.Case.Answer == journal.AnswerEmergency) {
			v.Advice = r.Advice
			break
		}
	}
	v.Answer, v.AnswerWithin, v.PageAfter, v.GoesTo, v.Why = c.Answer, c.WithinMin, page, c.GoesTo, why
	return v
}

// urgency is how soon a protocol's case is answered, without the rest of the
// verdict, and whether an answer lets it wait.
func (s *Set) urgency(p *protocol, vs *values) (answer journal.Answer, within journal.Minutes, settled bool) {
	answer, within = p.file.Case.Answer, p.file.Case.WithinMin
	raised := false
	for _, r := range p.rules {
		if r.Case == nil || raised && !moreUrgent(r.Case.Answer, r.Case.WithinMin, answer, within) {
			continue
		}
		if may, _ := r.when.root.eval(vs); may {
			raised = true
			if moreUrgent(r.Case.Answer, r.Case.WithinMin, answer, within) {
				answer, within = r.Case.Answer, r.Case.WithinMin
			}
		}
	}
	if p.settle != nil && !raised {
		if _, must := p.settle.root.eval(vs); must {
			return p.file.Settle.Case.Answer, p.file.Settle.Case.WithinMin, true
		}
	}
	return answer, within, false
}

// finish adds what holds whichever protocol leads.
func (s *Set) finish(v Verdict, f Facts) Verdict {
	if f.LongestGapH != nil {
		v.GapPlan = s.advice[v.Advice].stops()
		if v.GapPlan {
			v.Advice = s.advice[v.Advice].Gap
		}
		if f.GapLeftMin != nil && v.Answer == journal.AnswerMinutes {
			v.AnswerWithin = max(1, min(v.AnswerWithin, journal.Minutes(*f.GapLeftMin)))
		}
	}
	if f.Unknown && v.Answer != journal.AnswerEmergency {
		v.Advice = unknownTrouble
		if v.GoesTo == "coordinator" {
			v.Advice = unknownHelp
		}
	}
	return v
}
