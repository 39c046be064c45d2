package protocol

import "hearthline/internal/journal"

// Codes are the symptom and problem codes that a reading may give. Every one
// of them must open a protocol.
var Codes = []string{
	"nausea", "vomiting", "diarrhea", "constipation", "bloating", "belly_pain", "reflux", "choking",
	"breathing", "tube_out", "tube_moved", "tube_blocked", "leak", "skin", "site_infection", "bleeding",
	"fever", "drowsy", "dehydration", "low_sugar", "seizure", "pump", "supplies", "caregiver_strain",
	"self_harm", "other_worry",
}

// Triggers are the reasons other than a symptom for which something follows.
// Every one of them must open a protocol.
var Triggers = []string{
	"unread",                  // words that nothing accounted for
	"question",                // a question that neither regimen nor teaching answers
	"help",                    // the bare help keyword, or a call for a person
	"short_feed",              // clearly less than prescribed went in
	"skipped_feed",            // a feed was not given
	"read_back",               // the pump shows another rate than a changed order
	"short_feeds_running",     // two short feeds running, or a short feed day
	"over_feed",               // clearly more than prescribed went in
	"water_over", "fast_feed", // too much water, or a feed in too short a time
	"silence",                                  // nothing heard for as long as is watched
	"hospital", "home_from_hospital", "paused", // away
	"died", "tube_removed", // nothing more is sent
	"unknown_number",      // a phone that belongs to no household
	"undelivered",         // a text that did not arrive
	"decision_failed",     // our own program failed on a text
	"last_caregiver_left", // nobody is left who gets texts
	"wrong_number",        // a caregiver's phone that says it is not theirs
	"medicine",            // a question or mishap with a medicine
	"wrong_line",          // feed, water or medicine into another line
	"worry",               // nurse handling with neither symptom nor other reason
}

// Tubes are the kinds of feeding tube; the empty string is "not known".
var Tubes = []string{"nasogastric", "nasojejunal", "gastrostomy", "low_profile", "gastrojejunostomy", "jejunostomy"}

// PromptKinds are the kinds of prompt, or of act within one, that a verdict may
// hold back.
var PromptKinds = []string{
	"placement_check", "feed_end", "flush", "medication", "bag_change", "fill", "feed_start", "checkin",
}

// Symptom is one symptom said to be present, with what was said of it.
type Symptom struct {
	Code     string
	Count    *int   // how many times, nil when not said
	SinceMin *int   // minutes since it began, nil when not said
	Severity string // mild, moderate, severe; "" when not said
}

// Facts is what is known when a text (or a silence) is judged. A nil pointer
// or an empty string is "not known", which is never taken for the safe value.
type Facts struct {
	Present  []Symptom
	Absent   []string // codes denied
	Handling string   // what the reading says: auto, nurse, emergency; "" where there is no reading
	Triggers []string // reasons other than symptoms, of Triggers
	Text     string   // the text itself, for the words of marks.yaml
	Lang     string   // its language; "" tries every language

	TubeKind           string
	DaysSincePlacement *int
	AgeMonths          *int
	LongestGapH        *float64        // hours that feed may stop at most, nil where none is set
	GapLeftMin         *int            // minutes of that gap left, counted from when feed was last known to run
	SinceBeganMin      *int            // minutes since it came out or, if nobody saw it, since it was last seen in place
	TravelMin          journal.Minutes // the way to where the household is to go
	OtherLines         bool            // has another line (vein, airway) to which something could be connected
	TaughtToReplace    bool            // the caregiver was taught to replace the tube
	SugarLowering      bool            // takes something that lowers the blood sugar
	CriticalMedicine   bool            // a medicine through the tube that may not be missed
	FedLast24h         journal.ML
	FedPercent24h      *int // of what was prescribed in those 24 hours
	DaysEnrolled       *int
	DaysSinceHospital  *int
	SilentDays         *int           // whole feed days without a word
	Repeats24h         map[string]int // earlier texts with this code within 24 hours
	Repeats72h         map[string]int
	Unknown            bool              // the number is not known: nothing of a household is
	Answers            map[string]string // answers to questions, "protocol.question": yes, no, a number, a word
	NoAnswer           bool              // a question of this case was left unanswered
}

// Verdict is what follows. Only the most urgent protocol leads.
type Verdict struct {
	Protocol string
	Others   []string // further protocols that the facts opened, more urgent first
	Codes    []string // symptom codes present
	Answer   journal.Answer
	// AnswerWithin is the time to the answer: 0 for an emergency (at once); for
	// before_next and day_list only the household knows the instant.
	AnswerWithin journal.Minutes
	PageAfter    journal.Minutes // ringing waits this long
	GoesTo       string          // nurse, dietitian, pharmacist, coordinator
	Title        string          // message key of the case's title, for staff
	// Advice is the message key of the text that goes to the caregiver in the
	// same commit, "" for none. Its placeholders: {by} the clock time of the
	// answer, {call} the service's number, {emergency} the emergency number,
	// {crisis} the crisis line, {go_to} where the household is to go, and, with
	// GapPlan, {plan}.
	Advice string
	// GapPlan says that the advice stops the feed of a person whose feed must
	// not stop for long: its placeholder {plan} takes the household's own signed
	// second half, and "default.plan" stands in where there is none.
	GapPlan bool
	// Settled says that an answer lets the case wait; the case must say so.
	Settled bool
	// Deadline is set where a time runs from when the trouble began (something
	// must be in a gastrostomy's tract): the minutes of it that are left from
	// now, less the way there; never below 0. DeadlineSince says that the
	// beginning was known; otherwise it is counted from now, and is less.
	Deadline      *journal.Minutes
	DeadlineSince bool
	Hold          []string // kinds of prompts withheld while the case is open
	Why           string   // which rule decided, for staff

	rank int
}

// answerRank orders the kinds of answer, most urgent first.
func answerRank(a journal.Answer) int {
	switch a {
	case journal.AnswerEmergency:
		return 0
	case journal.AnswerMinutes:
		return 1
	case journal.AnswerNext:
		return 2
	}
	return 3
}

// moreUrgent reports whether answer a within x minutes comes before b within y.
func moreUrgent(a journal.Answer, x journal.Minutes, b journal.Answer, y journal.Minutes) bool {
	if ra, rb := answerRank(a), answerRank(b); ra != rb {
		return ra < rb
	}
	return x < y
}

// Before reports whether v must be answered before o, or, wanted at the same
// time, leads it.
func (v Verdict) Before(o Verdict) bool {
	if moreUrgent(v.Answer, v.AnswerWithin, o.Answer, o.AnswerWithin) {
		return true
	}
	if moreUrgent(o.Answer, o.AnswerWithin, v.Answer, v.AnswerWithin) {
		return false
	}
	if v.rank != o.rank {
		return v.rank < o.rank
	}
	return v.Protocol < o.Protocol
}
