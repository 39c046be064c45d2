// Package protocol turns what is known of a household and of one text (or of a
// silence) into what follows: which case, answered by when, by whom, what the
// family is told at once, and which prompts are withheld while it is open.
//
// Everything clinical is read from a flows tree: protocols/*.yaml say when a
// case opens and how urgent it is, messages/*.yaml hold every wording in every
// language, advice.yaml says what each advice tells a family to do, marks.yaml
// which words raise a flag. The package holds no threshold and no wording of
// its own. It is pure: no clock, no I/O beyond the tree it is given, no
// randomness, so the same facts always give the same verdict.
//
// How a household uses it:
//
//	v, wrong := set.Judge(facts)             // of every text, and of every silence
//	talk, turn, asks := set.Begin(facts, v, now)  // after the case is on the queue
//	talk, turn = set.Hear(talk, facts, text, now) // a text while a question waits, or late
//	talk, turn = set.Wait(talk, facts, now)       // at talk.Due
//	key, sure := set.Teach(question, taught)      // a question, with no trouble in the text
//
// A Talk is kept in the household's state; turn.Verdict replaces the case's
// answer time, and turn.Ask is the question to send. While a case is open, the
// kinds of prompts in its verdict's Hold are not sent.
//
// Two rules hold throughout. What is not known is never taken for the safe
// value: a rule that raises a case applies as soon as it may hold, a rule that
// only chooses words applies only when it certainly holds. And nothing lowers
// urgency: rules raise, and the most urgent protocol leads.
package protocol
