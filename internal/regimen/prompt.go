package regimen

import (
	"time"

	"hearthline/internal/journal"
)

// ActKind is one thing that hands do.
type ActKind string

// The kinds of act, in the order in which acts of one instant are done.
const (
	ActPlacementCheck ActKind = "placement_check"
	ActFeedEnd        ActKind = "feed_end"
	ActFlush          ActKind = "flush"
	ActMedication     ActKind = "medication"
	ActBagChange      ActKind = "bag_change"
	ActFill           ActKind = "fill"
	ActFeedStart      ActKind = "feed_start"
	ActCheckin        ActKind = "checkin"
)

// Act is one thing to do, at the instant at which it is done.
type Act struct {
	Kind       ActKind    `json:"kind"`
	Feed       string     `json:"feed,omitempty"` // the feed's name; for a port's own flush, the port
	Occurrence string     `json:"occurrence,omitempty"`
	At         time.Time  `json:"at"`
	ML         journal.ML `json:"ml,omitempty"`
	// Medicines is how many medicines are given at a medication act; its ML is
	// the water before, between and after them.
	Medicines int `json:"medicines,omitempty"`
}

// AskKind is what an answer to a prompt reports.
type AskKind string

// What a prompt may ask; the zero value only tells.
const (
	AskNothing   AskKind = ""
	AskFeedStart AskKind = "feed_start"
	AskFeedEnd   AskKind = "feed_end"
	AskFlush     AskKind = "flush"
	AskBagChange AskKind = "bag_change"
	AskCheckin   AskKind = "checkin"
	// AskReadBack asks for the number that the pump shows, after a changed order.
	AskReadBack AskKind = "read_back"
)

// Ask is what the answer to a prompt is about.
type Ask struct {
	Kind        AskKind    `json:"kind,omitempty"`
	Feed        string     `json:"feed,omitempty"`
	Occurrence  string     `json:"occurrence,omitempty"` // day + "/" + feed + "#" + ordinal
	ExpectedML  journal.ML `json:"expected_ml,omitempty"`
	ContainerML journal.ML `json:"container_ml,omitempty"`
}

// ReadBack is a changed number that is read back from the pump.
type ReadBack struct {
	Feed   string     `json:"feed"`
	Rate   Milli      `json:"rate_ml_per_h"`
	WasML  journal.ML `json:"was_ml"`
	ML     journal.ML `json:"ml"`
	WasHad Milli      `json:"was_rate_ml_per_h"`
}

// Prompt is one text to a household.
type Prompt struct {
	At   time.Time   `json:"at"`  // when it goes out, in the household's zone
	Day  journal.Day `json:"day"` // the feed day it belongs to
	Acts []Act       `json:"acts"`
	Asks Ask         `json:"asks,omitzero"`
	// Wake: it may go out in quiet hours, because the prescription says so.
	Wake bool `json:"wake,omitempty"`
	// ReadBack is set in the first prompt of a feed under a changed order.
	ReadBack *ReadBack `json:"read_back,omitempty"`
}

// Phrases says things in a language. The loader of the message files implements
// it; this room only composes.
type Phrases interface {
	// Say returns the text of key with its {placeholders} filled in.
	Say(key string, args map[string]string) string
	// Clock returns a time of day as the language writes it, "8:00 PM", in t's own zone.
	Clock(t time.Time) string
}
