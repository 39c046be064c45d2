package protocol

import (
	"testing"

	"hearthline/internal/journal"
)

// Published thresholds, each at its edge. The source stands beside each row.
func TestPublishedThresholds(t *testing.T) {
	s := shipped(t)
	const em, min, day = journal.AnswerEmergency, journal.AnswerMinutes, journal.AnswerDayList
	counted := func(code string, n int) Facts {
		return with(toddler(), func(f *Facts) { f.Present = []Symptom{{Code: code, Count: num(n)}} })
	}
	lasting := func(months, minutes int) Facts {
		return with(toddler(), func(f *Facts) {
			f.AgeMonths = num(months)
			f.Present = []Symptom{{Code: "vomiting", SinceMin: num(minutes)}}
		})
	}
	aged := func(months int, code, text string) Facts {
		return with(toddler(code), func(f *Facts) { f.AgeMonths = num(months); f.Text = text })
	}
	placed := func(days int, code string) Facts {
		return with(toddler(code), func(f *Facts) { f.DaysSincePlacement = num(days) })
	}
	for _, tc := range []struct {
		source string
		name   string
		facts  Facts
		answer journal.Answer
		within journal.Minutes
	}{
		{"CTCAE v4.03, vomiting: grade 3 is 6 or more in 24 h", "five", counted("vomiting", 5), min, 60},
		{"CTCAE v4.03, vomiting: grade 3 is 6 or more in 24 h", "six", counted("vomiting", 6), min, 20},
		{"CTCAE v5.0, diarrhea: grade 3 is 7 or more over baseline (baseline taken as 0)", "six", counted("diarrhea", 6), min, 60},
		{"CTCAE v5.0, diarrhea: grade 3 is 7 or more over baseline (baseline taken as 0)", "seven", counted("diarrhea", 7), min, 20},
		{"Atlas of Emergency Medicine, ch. 25: over 24 h under 2 years", "23 h at 18 months", lasting(18, 23*60), min, 60},
		{"Atlas of Emergency Medicine, ch. 25: over 24 h under 2 years", "24 h at 18 months", lasting(18, 24*60), min, 20},
		{"Atlas of Emergency Medicine, ch. 25: over 48 h older", "47 h at 5 years", lasting(60, 47*60), min, 60},
		{"Atlas of Emergency Medicine, ch. 25: over 48 h older", "48 h at 5 years", lasting(60, 48*60), min, 20},
		{"a Melbourne children's hospital: green vomit, first year", "11 months", aged(11, "vomiting", "green"), em, 0},
		{"a Melbourne children's hospital: green vomit, first year", "12 months", aged(12, "vomiting", "green"), min, 20},
		{"a Sydney children's hospitals network: yellow in a baby", "11 months", aged(11, "vomiting", "yellow"), em, 0},
		{"a Sydney children's hospitals network: yellow in a baby", "2 years", aged(24, "vomiting", "yellow"), min, 60},
		{"NICE NG143: 38 C under 3 months", "2 months", aged(2, "fever", ""), min, 20},
		{"NICE NG143: 38 C under 3 months", "3 months", aged(3, "fever", ""), min, 60},
		{"England, March 2010: first 72 h, pain", "day 3", placed(3, "belly_pain"), em, 0},
		{"England, March 2010: first 72 h, pain", "day 4", placed(4, "belly_pain"), min, 60},
		{"England, March 2010: first 72 h, bleeding", "day 3", placed(3, "bleeding"), em, 0},
		{"England, March 2010: first 72 h, bleeding", "day 4", placed(4, "bleeding"), min, 60},
		{"England, March 2010: first 72 h, leakage", "day 3", placed(3, "leak"), em, 0},
		{"England, March 2010: first 72 h, leakage", "day 4", placed(4, "leak"), day, 0},
	} {
		v, ok := s.Judge(tc.facts)
		if !ok || v.Answer != tc.answer || v.AnswerWithin != tc.within {
			t.Errorf("%s, %s: %s %d, want %s %d", tc.source, tc.name, v.Answer, v.AnswerWithin, tc.answer, tc.within)
		}
	}
}

// NICE NG143: at 3 to 6 months 39 C or more; the height is asked for, and only there.
func TestTheHeightOfAFeverIsAskedForUnderSixMonths(t *testing.T) {
	s := shipped(t)
	f := with(toddler("fever"), func(f *Facts) { f.AgeMonths = num(4) })
	talk, turn := begin(t, s, f)
	if turn.Ask != "q.fever_high" {
		t.Fatalf("asks %s at 4 months", turn.Ask)
	}
	if _, turn = s.Hear(talk, f, "y", minute); turn.Verdict.AnswerWithin != 20 {
		t.Errorf("39 C at 4 months: %+v", turn.Verdict)
	}
	if _, turn = begin(t, s, toddler("fever")); turn.Ask == "q.fever_high" {
		t.Error("asks for the height of a toddler's fever, which says nothing over 6 months")
	}
}

// Something is in the tract within 4 h of when the tube came out (a Melbourne
// children's hospital's guideline; a children's health instruction sheet), less the way.
func TestTheHourByWhichSomethingMustBeInTheTract(t *testing.T) {
	s := shipped(t)
	for _, tc := range []struct {
		name  string
		facts Facts
		left  journal.Minutes // -1 for none
		known bool
	}{
		{"just now", with(toddler("tube_out"), func(f *Facts) { f.SinceBeganMin = num(0) }), 240, true},
		{"an hour ago, 25 minutes away", with(toddler("tube_out"), func(f *Facts) { f.SinceBeganMin = num(60); f.TravelMin = 25 }), 155, true},
		{"last seen six hours ago", with(toddler("tube_out"), func(f *Facts) { f.SinceBeganMin = num(360) }), 0, true},
		{"nobody knows", toddler("tube_out"), 240, false},
		{"a nasal tube", with(toddler("tube_out"), func(f *Facts) { f.TubeKind = "nasogastric" }), -1, false},
		{"another trouble", toddler("vomiting"), -1, false},
	} {
		v, _ := s.Judge(tc.facts)
		if (v.Deadline == nil) != (tc.left < 0) || v.Deadline != nil && *v.Deadline != tc.left || v.DeadlineSince != tc.known {
			t.Errorf("%s: deadline %v since known %v, want %d %v", tc.name, v.Deadline, v.DeadlineSince, tc.left, tc.known)
		}
	}
}
