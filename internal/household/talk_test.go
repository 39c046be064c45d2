package household

import (
	"strings"
	"testing"
	"time"

	"hearthline/internal/journal"
)

func TestTheCaseComesFirstAndTheQuestionAfterIt(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	n := len(h.all)
	out := h.says(mother, "she threw up")
	if len(out) != 2 || !strings.Contains(out[1].Body, "?") {
		t.Fatalf("texts out = %+v, want the advice and then one question", out)
	}
	opened, asked := -1, -1
	for i, e := range h.all[n:] {
		switch {
		case e.CaseOpened != nil:
			opened = i
		case e.Talked != nil && asked < 0:
			asked = i
		}
	}
	if opened < 0 || asked < opened {
		t.Errorf("the case was opened at entry %d and the question asked at %d", opened, asked)
	}
}

func TestAnAnswerThatIsARedFlagMakesItAnEmergency(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.says(mother, "she threw up")
	before := h.openCases()[0]
	h.now = h.now.Add(2 * time.Minute)
	out := h.says(mother, "Y") // green, or blood in it
	c := h.openCases()
	if len(c) != 1 || c[0].AnswerBy >= before.AnswerBy {
		t.Errorf("cases = %+v, want the one, to be answered sooner than %s", c, before.AnswerBy.Time())
	}
	if len(out) == 0 {
		t.Error("the family was told nothing")
	}
}

func TestSilenceAfterAQuestionNeverMakesTheAnswerLaterNorClosesTheCase(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.says(mother, "she threw up")
	before := h.openCases()[0]
	h.until(h.now.Add(30 * time.Minute))
	c := h.openCases()
	if len(c) != 1 || c[0].AnswerBy > before.AnswerBy {
		t.Errorf("after silence: %+v, want the case open and its answer no later than %s", c, before.AnswerBy.Time())
	}
	if h.s.Talk == nil || h.s.Talk.Open != "" {
		t.Errorf("the conversation is %+v, want it over, kept for a late answer", h.s.Talk)
	}
}

func TestNoToAQuestionIsNotNoToTheFeed(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-12-01 06:30"))
	if h.s.Prompts[len(h.s.Prompts)-1].Asks != "feed_end" {
		t.Fatalf("prompts = %+v, want the feed's end asked", h.s.Prompts)
	}
	h.says(mother, "she threw up")
	h.now = h.now.Add(time.Minute)
	h.says(mother, "N")
	if v := h.s.Days[len(h.s.Days)-1].Volume(); v.NotReported != 640 {
		t.Errorf("ledger = %+v, want the feed still not reported", v)
	}
}

func TestClosingACaseEndsItsConversation(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.says(mother, "she threw up")
	h.do(Close{By: "staff:nora", Case: h.openCases()[0].ID, Disposition: "disposition.advised"})
	if h.s.Talk != nil {
		t.Errorf("the conversation goes on: %+v", h.s.Talk)
	}
}

func TestWhatTheRegimenAnswersIsAnsweredFromIt(t *testing.T) {
	w := testWorld(t)
	for _, c := range []struct{ at, asks, want string }{
		{"2026-11-30 22:00", "how much is left?", "480"}, // 2 of 8 h at 80 mL/h
		{"2026-11-30 22:00", "when does it end", "4:00"},
		{"2026-11-30 14:00", "what's next?", "8:00"},
		{"2026-11-30 14:00", "how much water", "30"},
	} {
		h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
		h.until(at(c.at))
		out := h.says(mother, c.asks)
		if len(out) != 1 || !strings.Contains(out[0].Body, c.want) || len(h.openCases()) != 0 {
			t.Errorf("%q at %s: %+v and %d cases; want an answer with %s and no case", c.asks, c.at, out, len(h.openCases()), c.want)
		}
	}
}

func TestAFamilyChoosesHowOftenItIsTexted(t *testing.T) {
	w := testWorld(t)
	counts := map[string]int{}
	for _, word := range []string{"more", "", "once a day"} {
		h := newHouse(t, w, at("2026-11-01 12:00"), family(), regimenYAML)
		if word != "" {
			if out := h.says(mother, word); len(out) != 1 {
				t.Errorf("%q was answered with %+v", word, out)
			}
		}
		h.until(at("2026-11-20 12:00")) // past the first two weeks
		n := len(h.all)
		h.until(at("2026-11-23 12:00"))
		for _, e := range h.all[n:] {
			if e.Kind == journal.KindPrompted {
				counts[word]++
			}
		}
	}
	if counts["once a day"] >= counts["more"] || counts["once a day"] == 0 {
		t.Errorf("prompts in three days: %v; want fewer once a day than at each step, and some", counts)
	}
}

func TestALateStartMovesThisFeedsEndAndNothingOfTomorrow(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-11-30 21:35"))
	out := h.says(mother, "started 9:30 pm")
	if len(out) != 1 || !strings.Contains(out[0].Body, "5:30") || !strings.Contains(out[0].Body, "rate") {
		t.Errorf("a late start was answered with %+v, want the new end and to keep the rate", out)
	}
	p, err := h.w.compile(h.s.Regimens)
	if err != nil {
		t.Fatal(err)
	}
	next := p.FeedDayAs(at("2026-12-01 12:00"), h.s.Actual)
	if got := next.Feeds[0].Start; !got.Equal(at("2026-12-01 20:00")) {
		t.Errorf("tomorrow's feed starts at %s", got)
	}
}

func TestAChangedRateIsReadBackFromThePump(t *testing.T) {
	w := testWorld(t)
	h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-11-30 13:00"))
	h.do(Enrol{By: "staff:test", CheckedBy: "lee", Who: family(), Prescription: prescription(t, w, strings.Replace(regimenYAML, "rate_ml_per_h: 80", "rate_ml_per_h: 64", 1))})
	h.until(at("2026-11-30 20:10"))
	asked := ""
	for _, o := range h.out {
		if strings.Contains(o.Body, "64") && strings.Contains(o.Body, "80") {
			asked = o.Body
		}
	}
	if asked == "" {
		t.Fatalf("no text named both rates: %+v", h.out)
	}
	right := *h
	right.says(mother, "64")
	if c := right.openCases(); len(c) != 0 {
		t.Errorf("the right rate opened %+v", c)
	}
	h.says(mother, "it says 80")
	if c := h.openCases(); len(c) != 1 || c[0].Protocol != "read_back" {
		t.Errorf("another rate opened %+v, want a case of the read-back", c)
	}
}

func TestALongPauseIsNotEndedByAClick(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.do(SetPause{By: "staff:nora", On: true, Why: "in hospital"})
	h.until(at("2026-12-08 12:00"))
	if _, err := h.try(SetPause{By: "staff:nora", On: false}); err == nil {
		t.Error("reminders came back by a click after eight days without feed")
	}
	h.do(Enrol{By: "staff:test", CheckedBy: "lee", Who: family(), Prescription: h.s.Regimens[0].Prescription})
	if h.s.Status != Active {
		t.Errorf("after the order was confirmed by a second person the household is %s", h.s.Status)
	}
}

func TestALesserTroubleNeverTakesOverAGreaterOne(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-12-01 06:30"))
	h.says(mother, "she threw up")
	before := h.openCases()[0]
	h.now = h.now.Add(time.Minute)
	out := h.says(mother, "only 300 went in")
	c := h.openCases()
	if len(c) != 1 || c[0].Protocol != before.Protocol || c[0].AnswerBy > before.AnswerBy || c[0].Texts != 2 {
		t.Errorf("cases = %+v, want still the vomiting, with both texts", c)
	}
	for _, o := range out {
		if strings.Contains(o.Body, "in touch after") {
			t.Errorf("the family was told of a later time than before: %q", o.Body)
		}
	}
	h.until(h.now.Add(30 * time.Minute))
	if c := h.openCases(); len(c) != 1 || c[0].Protocol != before.Protocol || c[0].AnswerBy > before.AnswerBy {
		t.Errorf("after a silence: %+v", c)
	}
}

func TestATripIsNoPauseUntilAsked(t *testing.T) {
	w := testWorld(t)
	h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
	out := h.says(mother, "we are on vacation until Sunday")
	if h.s.Status != Active || len(out) != 1 || !strings.Contains(out[0].Body, "PAUSE") {
		t.Errorf("a trip: status %s, texts %+v; want reminders on and the question whether feeds go on", h.s.Status, out)
	}
	h.says(mother, "PAUSE")
	if h.s.Status != Paused {
		t.Errorf("after PAUSE the household is %s", h.s.Status)
	}
}

func TestARateThatNobodyReadsBackIsForTheNurse(t *testing.T) {
	w := testWorld(t)
	h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-11-30 13:00"))
	h.do(Enrol{By: "staff:test", CheckedBy: "lee", Who: family(), Prescription: prescription(t, w, strings.Replace(regimenYAML, "rate_ml_per_h: 80", "rate_ml_per_h: 64", 1))})
	h.until(at("2026-12-01 05:00"))
	if c := h.openCases(); len(c) != 1 || c[0].Protocol != "read_back" {
		t.Errorf("cases = %+v, want one of the read-back", c)
	}
}

func TestAStartIsTakenForTheHalfOfTheDayThatFits(t *testing.T) {
	w := testWorld(t)
	for _, c := range []struct{ at, says, end string }{
		{"2026-11-30 20:45", "started 8:40", "4:40"},
		{"2026-11-30 22:10", "started at 10", "6:00"},
		{"2026-11-30 21:00", "started 8:40 pm", "4:40"},
		{"2026-11-30 21:00", "just started", "5:00"},
	} {
		h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
		h.until(at(c.at))
		out := h.says(mother, c.says)
		if len(out) != 1 || !strings.Contains(out[0].Body, c.end) {
			t.Errorf("%q at %s: %+v, want an end at %s", c.says, c.at, out, c.end)
		}
	}
}

func TestAFeedThatIsStoppedIsSeen(t *testing.T) {
	w := testWorld(t)
	h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-12-01 00:30"))
	h.says(mother, "stopped at 12, 320 in")
	if c := h.openCases(); len(c) != 1 || c[0].Protocol != "short_feed" {
		t.Errorf("half a feed, stopped: %+v, want a case of a short feed", c)
	}
	h = newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-12-01 00:30"))
	out := h.says(mother, "stopped at 12")
	if len(out) != 1 || !strings.Contains(out[0].Body, "How much went in?") || !strings.Contains(out[0].Body, "Flush 15 mL") {
		t.Errorf("a stop without an amount was answered with %+v, want how much, and the flush", out)
	}
	h.says(mother, "600")
	if v := h.s.Days[len(h.s.Days)-1].Volume(); v.Given != 600 {
		t.Errorf("the amount told after the question: %+v", v)
	}
}

func TestPausingThePumpIsNotPausingTheReminders(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-12-01 00:30"))
	h.says(mother, "had to pause the feed")
	if h.s.Status != Active {
		t.Errorf("after the pump was paused the household is %s", h.s.Status)
	}
}

func TestFewerAndMoreStepThroughTheLevels(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	var got []string
	for _, word := range []string{"fewer", "fewer", "more", "more", "more"} {
		h.says(mother, word)
		got = append(got, string(h.s.Actual.Level))
	}
	if want := "evening evening each_feed each_step each_step"; strings.Join(got, " ") != want {
		t.Errorf("levels %v, want %s", got, want)
	}
}

func TestAFeedThatCannotEndInTimeIsPutBeforeANurse(t *testing.T) {
	// The noon feed, begun at seven in the evening, cannot end before the night feed.
	two := strings.Replace(regimenYAML, "flush:", "  - {name: noon, start: \"12:00\", volume_ml: 240, rate_ml_per_h: 160}\nflush:", 1)
	h := newHouse(t, testWorld(t), at("2026-11-30 11:00"), family(), two)
	h.until(at("2026-11-30 19:35"))
	out := h.says(mother, "started the noon feed at 7:30 pm")
	said := ""
	for _, o := range out {
		said += o.Body
	}
	if c := h.openCases(); !strings.Contains(said, "nurse will") || len(c) != 1 || c[0].GoesTo != "nurse" {
		t.Errorf("told %q with cases %+v; want a nurse promised, and a case for her", said, c)
	}
}
