package protocol

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hearthline/internal/journal"
)

func num(n int) *int { return &n }

func hours(h float64) *float64 { return &h }

func symptoms(codes ...string) []Symptom {
	var list []Symptom
	for _, c := range codes {
		list = append(list, Symptom{Code: c})
	}
	return list
}

// toddler is an established household of whom everything is known.
func toddler(codes ...string) Facts {
	return Facts{
		Present: symptoms(codes...), Handling: "nurse", TubeKind: "gastrostomy",
		DaysSincePlacement: num(400), AgeMonths: num(30), DaysEnrolled: num(100),
	}
}

func with(f Facts, change func(*Facts)) Facts { change(&f); return f }

func TestJudgeGivesWhatPracticeDemands(t *testing.T) {
	s := shipped(t)
	const em, min, next, day = journal.AnswerEmergency, journal.AnswerMinutes, journal.AnswerNext, journal.AnswerDayList
	for _, tc := range []struct {
		name   string
		facts  Facts
		proto  string
		answer journal.Answer
		within journal.Minutes
		advice string
	}{
		{"vomiting in a toddler", toddler("vomiting"), "vomiting", min, 60, "case.vomiting"},
		{"nausea alone stops no feed", toddler("nausea"), "vomiting", min, 60, "case.nausea"},
		{"vomiting with fever", toddler("vomiting", "fever"), "vomiting", min, 20, "case.vomiting"},
		{"vomiting under one year", with(toddler("vomiting"), func(f *Facts) { f.AgeMonths = num(8) }), "vomiting", min, 20, "case.vomiting"},
		{"green vomit in the first year", with(toddler("vomiting"), func(f *Facts) { f.AgeMonths = num(8); f.Text = "threw up GREEN stuff" }), "vomiting", em, 0, "emergency.vomit"},
		{"green vomit, age not known", with(toddler("vomiting"), func(f *Facts) { f.AgeMonths = nil; f.Text = "threw up green" }), "vomiting", em, 0, "emergency.vomit"},
		{"green vomit in an older child", with(toddler("vomiting"), func(f *Facts) { f.Text = "threw up green" }), "vomiting", min, 20, "case.vomiting"},
		{"not green", with(toddler("vomiting"), func(f *Facts) { f.AgeMonths = num(8); f.Text = "threw up, not green" }), "vomiting", min, 20, "case.vomiting"},
		{"Spanish yellow in a baby", with(toddler("vomiting"), func(f *Facts) { f.AgeMonths = num(2); f.Text = "vomitó amarillo" }), "vomiting", em, 0, "emergency.vomit"},
		{"vomiting, feed must not stop", with(toddler("vomiting"), func(f *Facts) { f.LongestGapH = hours(2) }), "vomiting", min, 20, "gap.stop"},
		{"vomiting, ten minutes of the gap left", with(toddler("vomiting"), func(f *Facts) { f.LongestGapH = hours(2); f.GapLeftMin = num(10) }), "vomiting", min, 10, "gap.stop"},
		{"tube out, feed must not stop", with(toddler("tube_out"), func(f *Facts) { f.LongestGapH = hours(2) }), "tube_out", min, 20, "gap.go"},
		{"breathing, feed must not stop", with(toddler("breathing"), func(f *Facts) { f.LongestGapH = hours(2) }), "breathing", em, 0, "gap.emergency"},
		{"fever", toddler("fever"), "fever", min, 60, "case.fever"},
		{"fever under three months", with(toddler("fever"), func(f *Facts) { f.AgeMonths = num(2) }), "fever", min, 20, "case.fever"},
		{"fever, age not known", with(toddler("fever"), func(f *Facts) { f.AgeMonths = nil }), "fever", min, 20, "case.fever"},
		{"fever with a central line", with(toddler("fever"), func(f *Facts) { f.OtherLines = true }), "fever", min, 20, "case.fever"},
		{"tube out, not taught", toddler("tube_out"), "tube_out", min, 20, "case.tube_out"},
		{"tube out, taught", with(toddler("tube_out"), func(f *Facts) { f.TaughtToReplace = true }), "tube_out", min, 20, "case.tube_out_taught"},
		{"tube out, taught, seven weeks old", with(toddler("tube_out"), func(f *Facts) { f.TaughtToReplace = true; f.DaysSincePlacement = num(55) }), "tube_out", min, 20, "case.tube_out"},
		{"tube out, taught, date not known", with(toddler("tube_out"), func(f *Facts) { f.TaughtToReplace = true; f.DaysSincePlacement = nil }), "tube_out", min, 20, "case.tube_out"},
		{"jejunostomy out, taught", with(toddler("tube_out"), func(f *Facts) { f.TaughtToReplace = true; f.TubeKind = "jejunostomy" }), "tube_out", min, 20, "case.tube_out"},
		{"kind not known, taught", with(toddler("tube_out"), func(f *Facts) { f.TaughtToReplace = true; f.TubeKind = "" }), "tube_out", min, 20, "case.tube_out"},
		{"nasal tube out", with(toddler("tube_out"), func(f *Facts) { f.TubeKind = "nasogastric" }), "tube_out", min, 20, "case.tube_out_nasal"},
		{"nasal tube coiled in the mouth", with(toddler("tube_moved"), func(f *Facts) { f.TubeKind = "nasogastric"; f.Text = "tube is coiled in his mouth" }), "tube_moved", min, 20, "case.tube_coiled_nasal"},
		{"the same words of a gastrostomy", with(toddler("tube_moved"), func(f *Facts) { f.Text = "tube is coiled in his mouth" }), "tube_moved", min, 20, "case.tube_moved"},
		{"choking with a gastrostomy", toddler("choking"), "choking", min, 20, "case.choking"},
		{"leak", toddler("leak"), "leak", day, 0, "case.leak_day"},
		{"leak on the third day", with(toddler("leak"), func(f *Facts) { f.DaysSincePlacement = num(3) }), "leak", em, 0, "emergency.new_tube"},
		{"leak on the third day of a nasal tube", with(toddler("leak"), func(f *Facts) { f.DaysSincePlacement = num(3); f.TubeKind = "nasogastric" }), "leak", day, 0, "case.leak_day"},
		{"bleeding on the second day", with(toddler("bleeding"), func(f *Facts) { f.DaysSincePlacement = num(1) }), "bleeding", em, 0, "emergency.new_tube"},
		{"pain on the second day", with(toddler("belly_pain"), func(f *Facts) { f.DaysSincePlacement = num(1) }), "belly", em, 0, "emergency.new_tube"},
		{"breathing outranks all", toddler("skin", "vomiting", "breathing"), "breathing", em, 0, "emergency.breathing"},
		{"low sugar", toddler("low_sugar"), "low_sugar", min, 20, "case.low_sugar"},
		{"low sugar and drowsy", toddler("low_sugar", "drowsy"), "drowsy", em, 0, "emergency.low_sugar"},
		{"skin", toddler("skin"), "skin", day, 0, "case.skin"},
		{"blocked", toddler("tube_blocked"), "tube_blocked", min, 60, "case.tube_blocked"},
		{"pump", toddler("pump"), "pump", min, 60, "case.pump"},
		{"pump, feed must not stop", with(toddler("pump"), func(f *Facts) { f.LongestGapH = hours(4) }), "pump", min, 20, "case.pump"},
		{"no formula", toddler("supplies"), "supplies", next, 0, "case.supplies"},
		{"emergency reading of a plain code", with(toddler("other_worry"), func(f *Facts) { f.Handling = "emergency" }), "worry", em, 0, "emergency.general"},
		{"emergency reading with nothing known", Facts{Handling: "emergency"}, "worry", em, 0, "emergency.general"},
		{"nurse reading with no reason given", Facts{Handling: "nurse"}, "worry", min, 60, "case.general"},
		{"a trigger nobody knows", Facts{Triggers: []string{"meteor"}}, "worry", min, 60, "case.general"},
		{"unread", with(toddler(), func(f *Facts) { f.Triggers = []string{"unread"} }), "unread", min, 60, "unread.ask"},
		{"short feed", with(toddler(), func(f *Facts) { f.Triggers = []string{"short_feed"} }), "short_feed", day, 0, "case.short_feed"},
		{"a number not known, nothing wrong", Facts{Unknown: true, Triggers: []string{"unknown_number"}}, "number_unknown", day, 0, "unknown.help"},
		{"a number not known, trouble", Facts{Unknown: true, Handling: "nurse", Present: symptoms("tube_blocked"), Triggers: []string{"unknown_number"}}, "tube_blocked", min, 60, "unknown.trouble"},
		{"a number not known, emergency", Facts{Unknown: true, Handling: "emergency", Present: symptoms("breathing"), Triggers: []string{"unknown_number"}}, "breathing", em, 0, "emergency.breathing"},
		{"six vomits", with(toddler(), func(f *Facts) { f.Present = []Symptom{{Code: "vomiting", Count: num(6)}} }), "vomiting", min, 20, "case.vomiting"},
		{"in hospital", with(toddler(), func(f *Facts) { f.Triggers = []string{"hospital"}; f.Text = "we are in the hospital" }), "away", day, 0, "paused"},
		{"a death", with(toddler(), func(f *Facts) { f.Triggers = []string{"hospital"}; f.Text = "he passed away last night" }), "died", min, 60, ""},
		{"a pump's death", with(toddler("pump"), func(f *Facts) { f.Text = "the pump died last night" }), "pump", min, 60, "case.pump"},
		{"gone for good", with(toddler(), func(f *Facts) { f.Triggers = []string{"hospital"}; f.Text = "the tube came out for good" }), "tube_removed", day, 0, ""},
		{"critical medicine", with(toddler(), func(f *Facts) { f.Triggers = []string{"medicine"}; f.CriticalMedicine = true }), "medicine", min, 20, "case.medicine"},
	} {
		v, ok := s.Judge(tc.facts)
		if !ok || v.Protocol != tc.proto || v.Answer != tc.answer || v.AnswerWithin != tc.within || v.Advice != tc.advice {
			t.Errorf("%s: Judge = %v %s %s %d %s, want %s %s %d %s", tc.name,
				ok, v.Protocol, v.Answer, v.AnswerWithin, v.Advice, tc.proto, tc.answer, tc.within, tc.advice)
		}
	}
}

func TestJudgeOpensNothingWhereNothingIsWrong(t *testing.T) {
	s := shipped(t)
	if v, ok := s.Judge(Facts{Handling: "auto", Absent: []string{"fever"}, Text: "all 240, no fever"}); ok {
		t.Errorf("Judge opened %q on a plain report", v.Protocol)
	}
}

func TestSilenceGoesToWhoeverWatches(t *testing.T) {
	s := shipped(t)
	quiet := with(toddler(), func(f *Facts) { f.Handling = ""; f.Triggers = []string{"silence"} })
	for _, tc := range []struct {
		name   string
		facts  Facts
		goesTo string
		answer journal.Answer
	}{
		{"an established household", quiet, "coordinator", journal.AnswerDayList},
		{"in its first two weeks", with(quiet, func(f *Facts) { f.DaysEnrolled = num(13) }), "nurse", journal.AnswerDayList},
		{"under one year", with(quiet, func(f *Facts) { f.AgeMonths = num(11) }), "nurse", journal.AnswerDayList},
		{"after a hospital stay", with(quiet, func(f *Facts) { f.DaysSinceHospital = num(3) }), "nurse", journal.AnswerDayList},
		{"age not known", with(quiet, func(f *Facts) { f.AgeMonths = nil }), "nurse", journal.AnswerDayList},
		{"feed must not stop", with(quiet, func(f *Facts) { f.LongestGapH = hours(3) }), "nurse", journal.AnswerMinutes},
	} {
		v, ok := s.Judge(tc.facts)
		if !ok || v.GoesTo != tc.goesTo || v.Answer != tc.answer {
			t.Errorf("%s: goes to %s as %s, want %s as %s", tc.name, v.GoesTo, v.Answer, tc.goesTo, tc.answer)
		}
	}
}

func TestWhatIsStoppedIsAlsoHeld(t *testing.T) {
	s := shipped(t)
	v, _ := s.Judge(with(toddler("vomiting"), func(f *Facts) { f.LongestGapH = hours(3) }))
	if !slices.Contains(v.Hold, "feed_start") || !v.GapPlan {
		t.Errorf("vomiting: hold %v, gap plan %v; the advice stops the feed", v.Hold, v.GapPlan)
	}
	v, _ = s.Judge(toddler("nausea"))
	if len(v.Hold) != 0 || v.GapPlan {
		t.Errorf("nausea: hold %v, gap plan %v; the feed goes on", v.Hold, v.GapPlan)
	}
}

// A red flag more never makes the answer later, whatever is known. (A text that
// a nurse must see for no reason given is a worry until a reason explains it.)
func TestAddingTroubleNeverMakesTheAnswerLater(t *testing.T) {
	s := shipped(t)
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		if len(f.Present)+len(f.Triggers) == 0 {
			f.Handling = "auto"
		}
		g := f
		g.Present = append(slices.Clone(f.Present), Symptom{Code: rapid.SampledFrom(Codes).Draw(t, "more")})
		g.Triggers = append(slices.Clone(f.Triggers), rapid.SampledFrom(Triggers).Draw(t, "why"))
		a, had := s.Judge(f)
		b, has := s.Judge(g)
		if !has || had && moreUrgent(a.Answer, a.AnswerWithin, b.Answer, b.AnswerWithin) {
			t.Fatalf("was %s %d (%s), with more trouble %s %d (%s)", a.Answer, a.AnswerWithin, a.Protocol, b.Answer, b.AnswerWithin, b.Protocol)
		}
	})
}

// Forgetting what is known of a household never makes the answer later.
func TestNotKnowingNeverMakesTheAnswerLater(t *testing.T) {
	s := shipped(t)
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		g := f
		switch rapid.IntRange(0, 2).Draw(t, "forget") {
		case 0:
			g.AgeMonths = nil
		case 1:
			g.TubeKind = ""
		case 2:
			g.DaysEnrolled = nil
		}
		a, had := s.Judge(f)
		b, has := s.Judge(g)
		if had != has || had && moreUrgent(a.Answer, a.AnswerWithin, b.Answer, b.AnswerWithin) {
			t.Fatalf("known: %s %d (%s), not known: %s %d (%s)", a.Answer, a.AnswerWithin, a.Protocol, b.Answer, b.AnswerWithin, b.Protocol)
		}
	})
}

func TestAnEmergencyReadingIsAnEmergency(t *testing.T) {
	s := shipped(t)
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		f.Handling = "emergency"
		v, ok := s.Judge(f)
		if !ok || v.Answer != journal.AnswerEmergency || v.PageAfter != 0 || v.Advice == "" {
			t.Fatalf("emergency reading gave %+v", v)
		}
		if !slices.Contains(s.advice[v.Advice].Tells, "call_emergency") {
			t.Fatalf("advice %s does not say to call", v.Advice)
		}
	})
}

func anyFacts(t *rapid.T) Facts {
	f := Facts{
		Handling: rapid.SampledFrom([]string{"auto", "nurse", ""}).Draw(t, "handling"),
		Triggers: rapid.SliceOfN(rapid.SampledFrom(Triggers), 0, 2).Draw(t, "triggers"),
		TubeKind: rapid.SampledFrom(append([]string{""}, Tubes...)).Draw(t, "tube"),
		Text:     rapid.SampledFrom([]string{"", "green", "hard belly", "a lot", "coiled in the mouth"}).Draw(t, "text"),
		Unknown:  rapid.Bool().Draw(t, "unknown"),
	}
	for _, c := range rapid.SliceOfN(rapid.SampledFrom(Codes), 0, 3).Draw(t, "codes") {
		sym := Symptom{Code: c}
		if rapid.Bool().Draw(t, "counted") {
			sym.Count = num(rapid.IntRange(0, 9).Draw(t, "count"))
		}
		f.Present = append(f.Present, sym)
	}
	f.AgeMonths = maybe(t, "age", 200)
	f.DaysSincePlacement = maybe(t, "placed", 100)
	f.DaysEnrolled = maybe(t, "enrolled", 30)
	f.TaughtToReplace = rapid.Bool().Draw(t, "taught")
	f.SugarLowering = rapid.Bool().Draw(t, "sugar")
	f.OtherLines = rapid.Bool().Draw(t, "lines")
	if rapid.Bool().Draw(t, "gap") {
		f.LongestGapH = hours(2)
		f.GapLeftMin = maybe(t, "left", 120)
	}
	return f
}

func maybe(t *rapid.T, label string, most int) *int {
	if rapid.Bool().Draw(t, label+" known") {
		return num(rapid.IntRange(0, most).Draw(t, label))
	}
	return nil
}

func TestShippedFlowsAreUnsigned(t *testing.T) {
	if err := shipped(t).Signed(time.Date(2026, 5, 2, 0, 0, 0, 0, time.UTC)); err == nil {
		t.Error("Signed says the samples are signed")
	}
}

func BenchmarkJudge(b *testing.B) {
	s := shipped(b)
	f := with(toddler("vomiting", "fever"), func(f *Facts) { f.Text = "gave 150 then he threw up twice and feels hot, no rash" })
	b.ReportAllocs()
	for b.Loop() {
		if _, ok := s.Judge(f); !ok {
			b.Fatal("nothing opened")
		}
	}
}
