// Package reply reads what caregivers write: a text message becomes a Reading.
//
// A Reading is a derivation and not a search for keywords: each token of the
// text is explained by a quantity, a symptom phrase, a cue, an answer to what
// was asked, or a list of plain everyday words. What nothing explains is Unread,
// and what is unread decides: a text with unread content words goes to a person.
//
// The stages, each in its own file: scan (text to tokens), lookup and repair
// (tokens to listed words), match (words to phrases), quantity (numbers to
// volumes, times, temperatures), assert (present, absent, past, possible,
// other), answer (what the prompt asked), intent, handle.
//
// No clinical wording lives here: phrases, cues and limits come from words/ of
// a flows tree, one file a language. The package does no I/O after Load, reads
// no clock, keeps no state between texts, and is safe for concurrent use.
package reply

// Handling says who must see a text.
const (
	Auto      = "auto"      // may be filed and answered with no person
	Nurse     = "nurse"     // a person must see it
	Emergency = "emergency" // answer at once with the emergency advice, and page
)

// Status of a fact, in the tradition of NegEx and ConText.
const (
	Present  = "present"  // now or in the last 24 hours, of the person fed
	Absent   = "absent"   // denied in words
	Past     = "past"     // over, longer ago
	Possible = "possible" // hypothetical, or a question
	Other    = "other"    // of another person
)

// Kinds of prompt that a text may answer. Any other kind is read like no prompt.
const (
	FeedStart = "feed_start"
	FeedEnd   = "feed_end"
	Flush     = "flush"
	BagChange = "bag_change"
	Checkin   = "checkin"
)

// Asked is the prompt that a text most likely answers.
type Asked struct {
	Kind        string `json:"kind"`
	ExpectedML  *int64 `json:"expected_ml"`  // volume of that feed, mL; nil where unknown
	ContainerML *int64 `json:"container_ml"` // one container of formula, mL; nil where unknown
}

// Text is one caregiver's text with what is known around it.
type Text struct {
	ID    string   `json:"id"`
	Text  string   `json:"text"`
	Lang  string   `json:"lang,omitempty"`  // hint: en, es; empty where unknown
	Asked *Asked   `json:"asked"`           // nil where nothing was asked
	Terms []string `json:"terms,omitempty"` // further words or phrases to judge
}

// Fact is one symptom or problem that the text speaks of, with the words that
// say so: Quote is Text[Start:End], byte offsets on character borders.
type Fact struct {
	Code     string `json:"code"`
	Status   string `json:"status"`
	Quote    string `json:"quote"`
	Start    int    `json:"start"`
	End      int    `json:"end"`
	Count    *int64 `json:"count,omitempty"`    // how often, where said
	Since    string `json:"since,omitempty"`    // the words that say since when
	Severity string `json:"severity,omitempty"` // mild or severe, where said
}

// Moment is a time said of the feed itself: when it started, stopped, was
// paused or resumed ("started 8:40", "paused 40 minutes").
type Moment struct {
	Kind    string `json:"kind"`              // started, stopped, paused, resumed, at
	Clock   string `json:"clock,omitempty"`   // local wall clock, "08:40"
	Minutes *int64 `json:"minutes,omitempty"` // a span of minutes
	Quote   string `json:"quote"`
	Start   int    `json:"start"`
	End     int    `json:"end"`
}

// Reading is what was understood of a text. Lists are never nil.
type Reading struct {
	ID        string            `json:"id"`
	Lang      string            `json:"lang"`        // en, es, mixed, or another listed language
	GivenML   *int64            `json:"given_ml"`    // formula reported as given, mL
	FlushML   *int64            `json:"flush_ml"`    // water reported as flushed, mL
	ByMouthML *int64            `json:"by_mouth_ml"` // taken by mouth, mL
	Done      *bool             `json:"done"`        // did what was asked happen?
	Present   []string          `json:"present"`     // symptom codes, sorted
	Absent    []string          `json:"absent"`      // codes denied, sorted
	Intent    []string          `json:"intent"`      // sorted: help, later, opt_in, opt_out, pause, question, thanks, wrong_number
	Handling  string            `json:"handling"`    // Auto, Nurse or Emergency
	Why       string            `json:"why"`         // one short sentence
	Facts     []Fact            `json:"facts"`
	Moments   []Moment          `json:"moments"`
	Unread    []string          `json:"unread"` // words that nothing accounted for
	Terms     map[string]string `json:"terms"`  // status of each term asked that occurs in the text
}
