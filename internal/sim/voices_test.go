package sim

import (
	"strings"
	"testing"

	"hearthline/internal/reply"
)

// TestPretendFamiliesAreRead: what the pretend families write in answer to a
// prompt is routine, and must be read so. The texts are invented.
func TestPretendFamiliesAreRead(t *testing.T) {
	var v voices
	if err := read("voices.yaml", &v); err != nil {
		t.Fatal(err)
	}
	w := testWorld(t)
	expected := int64(240)
	for voice, kinds := range v {
		for kind, texts := range kinds {
			for _, text := range texts {
				body := strings.NewReplacer("{ml}", "240", "{tag}", "").Replace(text)
				r := w.Words.Read(reply.Text{Text: body, Asked: &reply.Asked{Kind: kind, ExpectedML: &expected}})
				if r.Handling != reply.Auto {
					t.Errorf("%s answering %s with %q: %s, because %s", voice, kind, body, r.Handling, r.Why)
				}
				if kind == "feed_end" && (r.GivenML == nil || *r.GivenML != 240) {
					t.Errorf("%s answering %s with %q: given %v, want 240", voice, kind, body, r.GivenML)
				}
			}
		}
	}
}
