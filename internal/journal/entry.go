package journal

import "encoding/json"

// CodecVersion is the version that Encode writes. Decode reads it and every earlier one.
const CodecVersion = 1

// Kind names what an entry records.
type Kind string

// The kinds of entries. Each has its own payload in Entry.
const (
	KindEnrolled   Kind = "enrolled"
	KindRegimen    Kind = "regimen"
	KindDayOpened  Kind = "day_opened"
	KindDayClosed  Kind = "day_closed"
	KindPrompted   Kind = "prompted"
	KindAskedAgain Kind = "asked_again"
	KindNotAsked   Kind = "not_asked"
	KindUnanswered Kind = "unanswered"
	KindTextIn     Kind = "text_in"
	KindFed        Kind = "fed"
	KindDone       Kind = "done"
	KindCaseOpened Kind = "case_opened"
	KindCaseText   Kind = "case_text"
	KindCaseMoved  Kind = "case_moved"
	KindTextOut    Kind = "text_out"
	KindReceipt    Kind = "receipt"
	KindConsent    Kind = "consent"
	KindPaused     Kind = "paused"
	KindStranger   Kind = "stranger"
	KindLevel      Kind = "level"
	KindTalked     Kind = "talked"
	KindCaseJudged Kind = "case_judged"
)

// Entry is one line of a household's journal: what was decided, when, by whom,
// and with which flows. Exactly the payload that Kind names is set.
type Entry struct {
	V     int    `json:"v"`               // codec version
	Seq   int64  `json:"seq"`             // place in the household's journal, from 1
	At    Millis `json:"at_ms"`           // the store's time at the decision
	By    string `json:"by"`              // "engine", "caregiver:c1", "staff:nora"
	Flows string `json:"flows,omitempty"` // version of the flows it was decided with
	Kind  Kind   `json:"kind"`

	Enrolled   *Enrolled   `json:"enrolled,omitempty"`
	Regimen    *Regimen    `json:"regimen,omitempty"`
	DayOpened  *DayOpened  `json:"day_opened,omitempty"`
	DayClosed  *DayClosed  `json:"day_closed,omitempty"`
	Prompted   *Prompted   `json:"prompted,omitempty"`
	AskedAgain *PromptRef  `json:"asked_again,omitempty"`
	NotAsked   *NotAsked   `json:"not_asked,omitempty"`
	Unanswered *PromptRef  `json:"unanswered,omitempty"`
	TextIn     *TextIn     `json:"text_in,omitempty"`
	Fed        *Fed        `json:"fed,omitempty"`
	Done       *Done       `json:"done,omitempty"`
	CaseOpened *CaseOpened `json:"case_opened,omitempty"`
	CaseText   *CaseText   `json:"case_text,omitempty"`
	CaseMoved  *CaseMoved  `json:"case_moved,omitempty"`
	TextOut    *TextOut    `json:"text_out,omitempty"`
	Receipt    *Receipt    `json:"receipt,omitempty"`
	Consent    *Consent    `json:"consent,omitempty"`
	Paused     *Paused     `json:"paused,omitempty"`
	Stranger   *Stranger   `json:"stranger,omitempty"`
	Level      *Level      `json:"level,omitempty"`
	Talked     *Talked     `json:"talked,omitempty"`
	CaseJudged *CaseJudged `json:"case_judged,omitempty"`
}

// Caregiver is a person who answers texts for a household.
type Caregiver struct {
	Ref   CaregiverRef `json:"ref"`
	Name  string       `json:"name"`
	Phone string       `json:"phone"` // E.164
	Lang  string       `json:"lang"`  // language of the texts to this person, "en"
}

// Enrolled says who belongs to a household. A second one replaces the first.
type Enrolled struct {
	Name       string      `json:"name"` // of the person fed; shown to those allowed, never texted
	Tag        string      `json:"tag,omitempty"`
	Zone       string      `json:"zone"` // IANA
	Caregivers []Caregiver `json:"caregivers"`
}

// Regimen puts a prescription in force from an instant on.
type Regimen struct {
	From         Millis          `json:"from_ms"`
	CheckedBy    string          `json:"checked_by,omitempty"`      // who compared a changed order with the prescriber's
	LiftedUntil  Millis          `json:"lifted_until_ms,omitempty"` // until then every step is prompted
	Prescription json.RawMessage `json:"prescription"`              // as the regimen room writes it
}

// FeedDue is one feed that a feed day prescribes.
type FeedDue struct {
	Occurrence string `json:"occurrence"`
	Feed       string `json:"feed"`
	Start      Millis `json:"start_ms"`
	End        Millis `json:"end_ms"`
	ML         ML     `json:"ml"`
}

// Composition is what one litre of the formula holds.
type Composition struct {
	EnergyKcalPerL int64 `json:"energy_kcal_per_l"`
	ProteinMgPerL  int64 `json:"protein_mg_per_l"`
	WaterMLPerL    int64 `json:"water_ml_per_l"`
}

// DayOpened says what a feed day prescribes, from the moment it begins (or
// from enrolment within it).
type DayOpened struct {
	Day        Day         `json:"day"`
	Start      Millis      `json:"start_ms"`
	End        Millis      `json:"end_ms"`
	Feeds      []FeedDue   `json:"feeds"`
	Flushes    int         `json:"flushes"`
	FlushML    ML          `json:"flush_ml"`
	BagChanges int         `json:"bag_changes"`
	Formula    Composition `json:"formula"`
}

// DayClosed ends a feed day; what was not reported by then stays not reported.
type DayClosed struct {
	Day Day `json:"day"`
}

// Prompted says that a prompt was put in the outbox.
type Prompted struct {
	ID          TextID          `json:"id"`
	At          Millis          `json:"at_ms"` // when the regimen wanted it
	Day         Day             `json:"day"`
	Acts        json.RawMessage `json:"acts"` // as the regimen room writes them
	Asks        string          `json:"asks,omitempty"`
	Feed        string          `json:"feed,omitempty"`
	Occurrence  string          `json:"occurrence,omitempty"`
	ExpectedML  ML              `json:"expected_ml,omitempty"`
	ContainerML ML              `json:"container_ml,omitempty"`
	FlushML     ML              `json:"flush_ml,omitempty"`
	To          []CaregiverRef  `json:"to"`
	ReadBack    int64           `json:"read_back_milli_ml_per_h,omitempty"` // the changed rate that the pump must show
}

// PromptRef points at a prompt.
type PromptRef struct {
	Prompt TextID `json:"prompt"`
}

// NotAsked records a prompt that fell due and was not sent, and why.
type NotAsked struct {
	At         Millis `json:"at_ms"` // when the regimen wanted it
	Day        Day    `json:"day"`
	Asks       string `json:"asks,omitempty"`
	Feed       string `json:"feed,omitempty"`
	Occurrence string `json:"occurrence,omitempty"`
	Why        string `json:"why"` // "late", "paused", "held", "nobody"
}

// TextIn is a caregiver's text with what was understood of it.
type TextIn struct {
	ID      TextID          `json:"id"`
	From    CaregiverRef    `json:"from,omitempty"`
	Carrier string          `json:"carrier_id"`
	Got     Millis          `json:"got_ms"` // when the inbox took it
	Body    string          `json:"body"`
	Files   int             `json:"files,omitempty"`       // pictures or recordings that came with it; they are not kept
	Prompt  TextID          `json:"prompt,omitempty"`      // the prompt it answers
	Codes   []string        `json:"codes,omitempty"`       // symptoms said to be there
	Settles bool            `json:"settles,omitempty"`     // that prompt wants no answer any more
	AgainAt Millis          `json:"again_at_ms,omitempty"` // "later": when that prompt is to come again
	Reading json.RawMessage `json:"reading"`
}

// Fed says how much formula of a prescribed feed went in, as reported. A later
// one for the same occurrence replaces it.
type Fed struct {
	Day        Day    `json:"day"`
	Occurrence string `json:"occurrence"`
	GivenML    ML     `json:"given_ml"`
	Text       TextID `json:"text"`
}

// Done says whether an act other than a volume was done, as reported.
type Done struct {
	Day        Day    `json:"day"`
	What       string `json:"what"` // feed_start, feed_stop, feed_pause, flush, bag_change, read_back
	Occurrence string `json:"occurrence,omitempty"`
	Prompt     TextID `json:"prompt,omitempty"`
	Done       bool   `json:"done"`
	ML         ML     `json:"ml,omitempty"`
	When       Millis `json:"when_ms,omitempty"` // when it happened, where the text says so
	Minutes    int64  `json:"minutes,omitempty"` // how long, of feed_pause
	Text       TextID `json:"text"`
}

// Answer says what kind of answer a case wants.
type Answer string

// The kinds of answer.
const (
	AnswerEmergency Answer = "emergency"
	AnswerMinutes   Answer = "minutes"
	AnswerNext      Answer = "before_next" // before the next feed or medicine
	AnswerDayList   Answer = "day_list"    // the next working morning
)

// CaseOpened puts a case on the queue.
type CaseOpened struct {
	Case     CaseID   `json:"case"`
	Protocol string   `json:"protocol"`
	Codes    []string `json:"codes"`
	Title    string   `json:"title"`
	Answer   Answer   `json:"answer"`
	AnswerBy Millis   `json:"answer_by_ms"`
	GoesTo   string   `json:"goes_to"` // nurse, dietitian, pharmacist, coordinator
	Text     TextID   `json:"text,omitempty"`
	Words    []string `json:"words,omitempty"` // the words that decided it, as written
	Said     string   `json:"said,omitempty"`  // the caregiver's text
	Why      string   `json:"why,omitempty"`
	Unknown  bool     `json:"number_unknown,omitempty"`
	Hold     []string `json:"hold,omitempty"` // kinds of prompts withheld while it is open

	From CaregiverRef `json:"from,omitempty"` // who wrote the text

	LiftedUntil Millis `json:"lifted_until_ms,omitempty"` // until then every step is prompted
}

// CaseText adds a text to a case that is open already, and may raise it.
type CaseText struct {
	Case     CaseID   `json:"case"`
	Text     TextID   `json:"text"`
	Said     string   `json:"said"`
	Codes    []string `json:"codes,omitempty"`
	Words    []string `json:"words,omitempty"`
	Protocol string   `json:"protocol,omitempty"` // when a more urgent one leads now
	Title    string   `json:"title,omitempty"`
	Answer   Answer   `json:"answer,omitempty"`
	AnswerBy Millis   `json:"answer_by_ms,omitempty"` // only ever earlier
	Hold     []string `json:"hold,omitempty"`         // added to what is withheld
	Why      string   `json:"why,omitempty"`
}

// CaseMoved records what a person, or the clock, did to a case.
type CaseMoved struct {
	Case        CaseID `json:"case"`
	To          string `json:"to"` // claimed, open, waiting, closed, overdue, wrote
	Holder      string `json:"holder,omitempty"`
	Disposition string `json:"disposition,omitempty"`
	Note        string `json:"note,omitempty"`
	Text        TextID `json:"text,omitempty"`
}

// Class orders texts out: each class is emptied before the next is begun.
type Class int

// The classes of texts out.
const (
	ClassTrouble  Class = iota // answers to trouble, pages
	ClassAnswer                // other answers
	ClassReminder              // prompts
	Classes       = 3
)

// TextOut is a text that was put in the outbox.
type TextOut struct {
	ID    TextID       `json:"id"`
	To    CaregiverRef `json:"to,omitempty"`
	Class Class        `json:"class"`
	Body  string       `json:"body"`
	Why   string       `json:"why"` // prompt, second_ask, case, answer, consent, staff
	Case  CaseID       `json:"case,omitempty"`
}

// Receipt is what a carrier, or our own sender, says became of a text out.
type Receipt struct {
	Text   TextID `json:"text"`
	Status string `json:"status"` // delivered, undelivered, gave_up
	Why    string `json:"why,omitempty"`
}

// Consent records that a caregiver ended or resumed texts, by which words.
type Consent struct {
	Caregiver CaregiverRef `json:"caregiver"`
	Stopped   bool         `json:"stopped"`
	Text      TextID       `json:"text"`
	Words     string       `json:"words"`
}

// Paused stops or resumes a household's reminders. Only a person resumes.
type Paused struct {
	On bool `json:"on"`

	LiftedUntil Millis `json:"lifted_until_ms,omitempty"` // until then every step is prompted

	Why  string `json:"why,omitempty"`
	Text TextID `json:"text,omitempty"`
}

// Level is how much a family asked to be texted, as the regimen room names it.
type Level struct {
	Level string `json:"level"`
	Text  TextID `json:"text"`
}

// Talked is a turn of the conversation about a case; an empty Talk ends it.
type Talked struct {
	Case CaseID          `json:"case"`
	Talk json.RawMessage `json:"talk,omitempty"` // as the protocol room writes it
}

// CaseJudged is a case judged anew by what was answered, or not answered.
type CaseJudged struct {
	Case     CaseID   `json:"case"`
	Protocol string   `json:"protocol"`
	Title    string   `json:"title"`
	Answer   Answer   `json:"answer"`
	AnswerBy Millis   `json:"answer_by_ms"`
	Settled  bool     `json:"settled,omitempty"` // an answer lets it wait; only then is AnswerBy later than before
	Hold     []string `json:"hold,omitempty"`    // added to what is withheld
	Why      string   `json:"why,omitempty"`
}

// Stranger begins the journal of a phone that belongs to no household.
type Stranger struct {
	Phone string `json:"phone"`
}
