package protocol

import (
	"encoding/json"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"hearthline/internal/journal"
)

const minute journal.Millis = 60_000

// begin opens a case and starts its conversation at minute 0.
func begin(t *testing.T, s *Set, f Facts) (Talk, Turn) {
	t.Helper()
	v, ok := s.Judge(f)
	if !ok {
		t.Fatal("nothing opened")
	}
	talk, turn, ok := s.Begin(f, v, 0)
	if !ok {
		t.Fatalf("%s asks nothing", v.Protocol)
	}
	return talk, turn
}

func TestAConversationRaisesItsCase(t *testing.T) {
	s := shipped(t)
	f := toddler("vomiting")
	talk, turn := begin(t, s, f)
	if turn.Ask != "q.vomit_green" || turn.Verdict.AnswerWithin != 60 {
		t.Fatalf("first turn %+v", turn)
	}
	talk, turn = s.Hear(talk, f, "No thanks.", minute)
	if !turn.Understood || turn.Ask != "q.vomit_count" {
		t.Fatalf("after no: %+v", turn)
	}
	talk, turn = s.Hear(talk, f, "about 8 times", 2*minute)
	if !turn.Understood || turn.Verdict.AnswerWithin != 20 || turn.Ask != "q.wet" {
		t.Fatalf("after 8: %+v", turn)
	}
	talk, turn = s.Hear(talk, f, "n", 3*minute)
	if !turn.Understood || !slices.Contains(turn.Verdict.Codes, "dehydration") || turn.Ask != "q.wake" {
		t.Fatalf("no wet diaper: %+v", turn)
	}
	_, turn = s.Hear(talk, f, "sí", 4*minute)
	if !turn.Done || turn.Verdict.Protocol != "drowsy" || turn.Verdict.AnswerWithin != 20 {
		t.Fatalf("hard to wake: %+v", turn)
	}
}

func TestWhatIsKnownIsNotAsked(t *testing.T) {
	s := shipped(t)
	f := toddler("dehydration")
	f.Present = []Symptom{{Code: "vomiting", Count: num(2)}, {Code: "fever"}}
	f.Text = "green stuff came up twice"
	talk, turn := begin(t, s, f)
	if turn.Ask != "q.wet" {
		t.Errorf("asks %s of %+v; colour and count were said", turn.Ask, talk)
	}
}

func TestSilenceIsNotedAndALateAnswerStillFindsItsQuestion(t *testing.T) {
	s := shipped(t)
	f := toddler("vomiting")
	talk, _ := begin(t, s, f)
	if _, turn := s.Wait(talk, f, talk.Due-1); turn.Done {
		t.Error("silence was noted before its time")
	}
	talk, turn := s.Wait(talk, f, talk.Due)
	if !turn.Done || turn.Verdict.AnswerWithin != 60 || talk.Answers["green_or_blood"] != Silence {
		t.Fatalf("after silence: %+v, %+v", talk, turn)
	}
	talk, turn = s.Hear(talk, f, "yes", 200*minute)
	if !turn.Understood || turn.Verdict.AnswerWithin != 20 || talk.Answers["green_or_blood"] != "yes" {
		t.Errorf("late yes: %+v, %+v", talk, turn)
	}
}

func TestAnAnswerMayLetACaseWaitAndTheCaseSaysSo(t *testing.T) {
	s := shipped(t)
	f := toddler("pump")
	talk, turn := begin(t, s, f)
	if turn.Ask != "" || talk.Open != "running_again" {
		t.Fatalf("the advice asks already: %+v %+v", talk, turn)
	}
	_, turn = s.Hear(talk, f, "yes", 5*minute)
	if !turn.Verdict.Settled || turn.Verdict.Answer != journal.AnswerDayList || turn.Verdict.Why == "" {
		t.Errorf("running again: %+v", turn.Verdict)
	}
	f.LongestGapH = hours(2)
	_, turn = s.Hear(talk, f, "yes", 5*minute)
	if turn.Verdict.Settled || turn.Verdict.AnswerWithin != 20 {
		t.Errorf("running again, but feed must not stop: %+v", turn.Verdict)
	}
}

func TestWhatIsNoAnswerChangesNothing(t *testing.T) {
	s := shipped(t)
	f := toddler("vomiting")
	talk, _ := begin(t, s, f)
	for _, text := range []string{"", "what do you mean", "he had a nap and now he plays with the dog, yes", "y n", "no idea", "no sé", "not sure", "🙂"} {
		after, turn := s.Hear(talk, f, text, minute)
		if turn.Understood || after.Open != talk.Open || len(after.Answers) != 0 {
			t.Errorf("%q was taken for an answer: %+v", text, after)
		}
	}
}

func TestAMoreUrgentCaseTakesOver(t *testing.T) {
	s := shipped(t)
	f := toddler("skin")
	talk, _ := begin(t, s, f)
	worse, _ := s.Judge(toddler("vomiting"))
	if !s.GivesWay(talk, f, worse) {
		t.Error("vomiting does not take over from skin")
	}
	same, _ := s.Judge(f)
	if s.GivesWay(talk, f, same) {
		t.Error("the same trouble takes over from itself")
	}
}

// Whatever is answered, or not: it ends, nothing is asked twice, and the case
// is never later than before unless it says that an answer lets it wait.
func TestNoConversationMakesACaseLater(t *testing.T) {
	s := shipped(t)
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		v, ok := s.Judge(f)
		if !ok {
			return
		}
		talk, turn, ok := s.Begin(f, v, 0)
		if !ok {
			return
		}
		now, asked := journal.Millis(0), map[string]bool{talk.Open: true}
		for turns := 0; !turn.Done; turns++ {
			if turns > 3*MaxQuestions {
				t.Fatal("does not end")
			}
			before := turn.Verdict
			if rapid.IntRange(0, 4).Draw(t, "silent") == 0 {
				now = talk.Due
				talk, turn = s.Wait(talk, f, now)
			} else {
				now += minute
				talk, turn = s.Hear(talk, f, rapid.SampledFrom([]string{"y", "n", "0", "3", "12", "blue"}).Draw(t, "text"), now)
				if turn.Understood && talk.Open != "" {
					if asked[talk.Open] {
						t.Fatalf("%s is asked twice", talk.Open)
					}
					asked[talk.Open] = true
				}
				if !turn.Understood { // says nothing: the clock decides
					talk, turn = s.Wait(talk, f, talk.Due)
				}
			}
			after := turn.Verdict
			if !after.Settled && moreUrgent(before.Answer, before.AnswerWithin, after.Answer, after.AnswerWithin) {
				t.Fatalf("%s: was %s %d, now %s %d", talk.Protocol, before.Answer, before.AnswerWithin, after.Answer, after.AnswerWithin)
			}
		}
		b, err := json.Marshal(talk)
		if err != nil {
			t.Fatal(err)
		}
		var again Talk
		if err := json.Unmarshal(b, &again); err != nil {
			t.Fatal(err)
		}
	})
}
