package carrier

import (
	"fmt"
	"log/slog"
)

// Texts and what comes in hold phone numbers and caregivers' words. However
// they are printed or logged, only what they are and their ids are written.
// (As JSON they are whole: that is how they are sealed and sent.)

func (t Text) describe() string { return fmt.Sprintf("text %s (%s)", t.ID, className(t.Class)) }

// Format hides numbers and words, whatever the verb.
func (t Text) Format(f fmt.State, _ rune) { _, _ = f.Write([]byte(t.describe())) } // fmt gives a writer that does not fail

// LogValue hides numbers and words.
func (t Text) LogValue() slog.Value { return slog.StringValue(t.describe()) }

func (in Incoming) describe() string { return fmt.Sprintf("incoming %s %s", in.Kind, in.ID) }

// Format hides numbers and words, whatever the verb.
func (in Incoming) Format(f fmt.State, _ rune) { _, _ = f.Write([]byte(in.describe())) } // as above

// LogValue hides numbers and words.
func (in Incoming) LogValue() slog.Value { return slog.StringValue(in.describe()) }
