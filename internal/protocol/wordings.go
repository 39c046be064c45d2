package protocol

// Tells are the things that an advice text may tell a family to do; advice.yaml
// says which text tells which.
var Tells = []string{
	"stop_feed", "nothing_by_tube", "no_medicine", "put_back", "take_out", "leave_out",
	"go", "call_emergency", "follow_plan", "wait",
}

// RequiredKeys are the wordings that the service itself says, besides those
// that the protocols name. A flows tree without one of them is not loaded.
var RequiredKeys = []string{
	layoutKey, "default.by", "default.call", "default.emergency", "default.crisis", "default.go_to", "default.plan",
	"case.general", "case.day", "case.next", "case.overdue", "case.closed", "case.added",
	"held.feed", "held.first",
	"unread.shown", "unread.ask", "silence.ask", "silence.second", "silence.raised",
	"emergency.general",
	"ack.given", "ack.given.all", "ack.done", "ack.later", "ack.well",
	"ask.again.feed_start", "ask.again.feed_end", "ask.again.flush", "ask.again.bag_change",
	"ask.again.checkin", "ask.again.read_back",
	"consent.stopped", "consent.started", "help", unknownHelp, unknownTrouble,
	"word.yes", "word.no", "word.filler",
	"paused", "resumed", "which.child", "wrong_number", "photo.refused", "condolence",
}

// Dispositions are the message keys of the ways in which a case may end.
var Dispositions = []string{
	"disposition.advised", "disposition.called", "disposition.emergency", "disposition.seen",
	"disposition.visit", "disposition.prescriber", "disposition.coordinator",
	"disposition.equipment", "disposition.no_answer", "disposition.not_needed",
}

// Shown are the facts of a household that a protocol may want beside its case.
var Shown = []string{
	"age", "tube", "tract_days", "taught", "go_to", "other_lines", "sugar_lowering", "critical_medicine",
	"longest_gap", "last_feeds", "next_feeds", "fed_24h", "last_flush", "weight", "repeats", "formula", "caregivers",
}
