package household

import (
	"errors"
	"strings"
	"testing"
	"time"

	"hearthline/internal/journal"
)

func TestThrewUpTwiceIsNotedAndIsACaseAtOnce(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-12-01 04:30"))
	out := h.says(mother, "gave 150 then he threw up twice")
	cases := h.openCases()
	if len(cases) != 1 || cases[0].Protocol != "vomiting" || cases[0].GoesTo != "nurse" {
		t.Fatalf("open cases = %+v, want one of vomiting for the nurse", cases)
	}
	if cases[0].AnswerBy <= journal.At(h.now) || cases[0].AnswerBy > journal.At(h.now.Add(time.Hour)) {
		t.Errorf("answer by %s, want within the hour after %s", cases[0].AnswerBy.Time(), h.now.UTC())
	}
	if len(out) == 0 || out[0].Class != journal.ClassTrouble || !strings.Contains(out[0].Body, h.w.Branch.Call) {
		t.Errorf("texts out = %+v, want first an answer to trouble that names the number to ring", out)
	}
	v := h.s.Days[len(h.s.Days)-1].Volume()
	if v.Prescribed != 640 || v.Given != 150 || v.Short != 490 || v.NotReported != 0 {
		t.Errorf("ledger = %+v, want 150 given and 490 known short of 640", v)
	}
}

func TestAFeedThatNobodyReportsStaysNotReported(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-12-01 12:00"))
	day := h.s.Days[0]
	if v := day.Volume(); !day.Closed || v.NotReported != 640 || v.Given != 0 || v.Short != 0 {
		t.Errorf("closed %t, ledger %+v; want 640 mL not reported, none given, none short", day.Closed, v)
	}
	again := 0
	for _, e := range h.all {
		if e.Kind == journal.KindAskedAgain {
			again++
		}
	}
	asked := 0
	for _, e := range h.all {
		if e.Kind == journal.KindPrompted && e.Prompted.Asks != "" {
			asked++
		}
	}
	if again == 0 || again > asked {
		t.Errorf("asked %d times and a second time %d times; want each at most once more", asked, again)
	}
	if c := h.openCases(); len(c) != 1 || c[0].Protocol != "silence" {
		t.Errorf("cases = %+v, want one of silence", c)
	}
}

func TestNothingGoesOutAfterStopButItsConfirmation(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), journal.Enrolled{Name: "invented", Zone: "America/Chicago",
		Caregivers: []journal.Caregiver{{Ref: "c1", Name: "Ana", Phone: mother, Lang: "en"}}}, regimenYAML)
	h.until(at("2026-11-30 20:30"))
	out := h.says(mother, "STOP")
	if len(out) != 1 || !strings.Contains(out[0].Body, "START") {
		t.Fatalf("texts out after STOP = %+v, want the one confirmation", out)
	}
	if c := h.openCases(); len(c) != 1 || c[0].Protocol != "last_caregiver" {
		t.Errorf("cases = %+v, want one that says nobody is left", c)
	}
	if later := h.until(at("2026-12-03 12:00")); len(later) != 0 {
		t.Errorf("texts after the confirmation: %+v", later)
	}
	if back := h.says(mother, "START"); len(back) != 1 {
		t.Errorf("START was answered with %+v, want one text", back)
	}
	if more := h.until(at("2026-12-04 12:00")); len(more) == 0 {
		t.Error("no prompt came after START")
	}
}

func TestALatePromptIsNotSentButShownAsNotAsked(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.now = at("2026-12-01 11:00") // the service was down all night
	out := h.do(Tick{})
	if len(out) > 1 {
		t.Errorf("after an outage %d texts went out at once, want at most one", len(out))
	}
	if h.s.Days[0].Volume().NotAsked != 640 {
		t.Errorf("ledger = %+v, want 640 mL not asked", h.s.Days[0].Volume())
	}
	late := 0
	for _, e := range h.all {
		if e.Kind == journal.KindNotAsked && e.NotAsked.Why == "late" {
			late++
		}
	}
	if late == 0 {
		t.Error("no prompt was journaled as not asked")
	}
}

func TestAnOverdueCaseSaysSoOnceAndStaysOpen(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.says(mother, "she threw up")
	by := h.openCases()[0].AnswerBy.Time()
	out := h.until(by.Add(time.Minute))
	told := 0
	for _, o := range out {
		if o.Class == journal.ClassTrouble && strings.Contains(o.Body, h.w.Branch.Call) {
			told++
		}
	}
	if c := h.openCases(); len(c) != 1 || !c[0].Overdue || told != 1 {
		t.Errorf("cases %+v, told %d times; want one overdue and the family told once", c, told)
	}
}

func TestMoreOfTheSameIsOneCase(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.says(mother, "she threw up")
	first := h.openCases()[0]
	h.now = h.now.Add(5 * time.Minute)
	h.says(mother, "threw up again and now she has a fever")
	c := h.openCases()
	if len(c) != 1 || c[0].Texts != 2 || c[0].AnswerBy > first.AnswerBy {
		t.Errorf("cases = %+v, want the first with two texts and no later answer", c)
	}
	h.now = h.now.Add(time.Minute)
	h.says(father, "her lips look blue")
	c = h.openCases()
	if len(c) != 1 || c[0].Answer != journal.AnswerEmergency {
		t.Errorf("cases = %+v, want the same case raised to an emergency", c)
	}
}

func TestAnEmergencyIsAnsweredAtOnceWithTheNumber(t *testing.T) {
	w := testWorld(t)
	for _, body := range []string{"his lips are blue", "I can't wake her up", "she is having a seizure"} {
		h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
		out := h.says(mother, body)
		if len(out) != 1 || out[0].Class != journal.ClassTrouble || !strings.Contains(out[0].Body, "911") {
			t.Errorf("%q was answered with %+v, want the emergency number at once", body, out)
		}
		if c := h.openCases(); len(c) != 1 || c[0].Answer != journal.AnswerEmergency {
			t.Errorf("%q opened %+v, want an emergency", body, c)
		}
	}
}

func TestAStrangersTextIsReadLikeAnyOther(t *testing.T) {
	w := testWorld(t)
	h := &house{t: t, w: w, s: State{ID: "number-00000000deadbeef"}, now: at("2026-11-30 12:00")}
	out := h.says("+12025550166", "hi is this the clinic")
	if len(out) != 1 || !strings.Contains(out[0].Body, w.Branch.Call) {
		t.Errorf("a stranger was answered with %+v, want where help is", out)
	}
	c := h.openCases()
	if len(c) != 1 || !c[0].Unknown {
		t.Fatalf("cases = %+v, want one marked as from an unknown number", c)
	}
	h.now = h.now.Add(time.Minute)
	h.says("+12025550166", "the tube came out")
	nurse := 0
	for _, c := range h.openCases() {
		if c.GoesTo == "nurse" && c.Unknown {
			nurse++
		}
	}
	if nurse != 1 {
		t.Errorf("cases = %+v, want one for the nurse", h.openCases())
	}
}

func TestClicks(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.says(mother, "she threw up")
	id := h.openCases()[0].ID
	h.do(Claim{By: "staff:nora", Case: id})
	for _, refused := range []Event{
		Claim{By: "staff:lee", Case: id},
		Close{By: "staff:lee", Case: id, Disposition: "disposition.advised"},
		Close{By: "staff:nora", Case: id, Disposition: "disposition.no_such"},
		Close{By: "staff:nora", Case: "maple-17.999.0", Disposition: "disposition.advised"},
		Write{By: "staff:nora", Case: id, Body: "  "},
		Write{By: "staff:nora", Case: id, Body: strings.Repeat("x", maxBody+1)},
		Write{By: "staff:nora", Case: id, To: "c9", Body: "hello"},
		SetPause{By: "staff:nora", On: false},
	} {
		var r *Refused
		if _, err := h.try(refused); !errors.As(err, &r) || r.Why == "" {
			t.Errorf("%+v: error %v, want a refusal in words", refused, err)
		}
	}
	out := h.do(Write{By: "staff:nora", Case: id, Body: "Hold the feed, I am calling you now."})
	if len(out) != 1 || out[0].To != mother || !strings.Contains(out[0].Body, "Hold the feed") {
		t.Errorf("texts out = %+v, want her words to the mother", out)
	}
	h.do(Close{By: "staff:nora", Case: id, Disposition: h.w.Protocols.Phrases("en").Keys("disposition.")[0], Note: "spoke with mother"})
	if len(h.openCases()) != 0 {
		t.Errorf("open cases after closing: %+v", h.openCases())
	}
}

func TestAChangedOrderNeedsASecondPerson(t *testing.T) {
	w := testWorld(t)
	h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
	changed := prescription(t, w, strings.Replace(regimenYAML, "rate_ml_per_h: 80", "rate_ml_per_h: 75", 1))
	var r *Refused
	if _, err := h.try(Enrol{By: "staff:test", Who: family(), Prescription: changed}); !errors.As(err, &r) {
		t.Errorf("a changed order without a second person: %v, want a refusal", err)
	}
	if _, err := h.try(Enrol{By: "staff:test", CheckedBy: "test", Who: family(), Prescription: changed}); !errors.As(err, &r) {
		t.Errorf("a changed order checked by the same person: %v, want a refusal", err)
	}
	h.do(Enrol{By: "staff:test", CheckedBy: "lee", Who: family(), Prescription: changed})
	before := len(h.all)
	h.do(Enrol{By: "staff:test", Who: family(), Prescription: changed})
	if len(h.all) != before {
		t.Error("reading the same file in again was journaled as a change")
	}
}

func TestPausedHouseholdsAreNotAskedUntilAPersonResumes(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.do(SetPause{By: "staff:nora", On: true, Why: "in hospital"})
	if out := h.until(at("2026-12-02 12:00")); len(out) != 0 {
		t.Errorf("texts while paused: %+v", out)
	}
	if v := h.s.Days[0].Volume(); v.NotAsked != 640 {
		t.Errorf("ledger = %+v, want 640 mL not asked", v)
	}
	h.do(SetPause{By: "staff:nora", On: false})
	if out := h.until(at("2026-12-03 12:00")); len(out) == 0 {
		t.Error("no text after the pause was ended")
	}
}

func TestTwoUndeliveredTextsAreACase(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	h.until(at("2026-11-30 20:10"))
	for i := range 3 {
		h.do(ReceiptCame{Text: journal.TextID(journal.MakeID(h.s.ID, 1, i)), Status: "undelivered", Why: "number not in service"})
	}
	if c := h.openCases(); len(c) != 1 || c[0].Protocol != "undelivered" {
		t.Errorf("cases = %+v, want one of texts that do not arrive", c)
	}
}

func TestATextThatCannotBeHandledReachesANurse(t *testing.T) {
	h := &house{t: t, w: testWorld(t), s: State{ID: "number-00000000000000aa"}, now: at("2026-11-30 12:00")}
	h.do(Failed{From: mother, Body: "???", Why: "test"})
	if c := h.openCases(); len(c) != 1 || c[0].GoesTo != "nurse" || c[0].Said != "???" {
		t.Errorf("cases = %+v, want one for the nurse with the text as it came", c)
	}
}

func TestAPictureReachesANurse(t *testing.T) {
	h := newHouse(t, testWorld(t), at("2026-11-30 12:00"), family(), regimenYAML)
	out := h.do(TextCame{CarrierID: "p", From: mother, Body: "", Files: 1, Got: journal.At(h.now)})
	if len(out) != 1 || !strings.Contains(out[0].Body, "photo") {
		t.Errorf("a picture was answered with %+v, want that it could not be taken", out)
	}
	if c := h.openCases(); len(c) != 1 || c[0].GoesTo != "nurse" {
		t.Errorf("cases = %+v, want one for the nurse", c)
	}
}
