package household

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hearthline/internal/journal"
)

// TestDecideHoldsItsPromises runs random lives of a household. house.try checks
// on each step that the entries alone make the state and that Decide leaves
// its argument alone.
func TestDecideHoldsItsPromises(t *testing.T) {
	w := testWorld(t)
	bodies := []string{"all of it", "gave 150 then he threw up twice", "STOP", "START", "later", "ok", "???", "his lips are blue",
		"the tube came out", "we are in the hospital", "thanks", "can i give her water", "\x00\xff", "👍", "done", "no", strings.Repeat("very long ", 400)}
	rapid.Check(t, func(rt *rapid.T) {
		h := newHouse(t, w, at("2026-11-30 12:00"), family(), regimenYAML)
		ids := map[journal.TextID]bool{}
		for _, e := range h.all {
			if e.TextOut != nil {
				ids[e.TextOut.ID] = true
			}
		}
		for range rapid.IntRange(1, 40).Draw(rt, "steps") {
			n, stopped := len(h.all), stoppedPhones(h.s)
			switch rapid.IntRange(0, 5).Draw(rt, "what") {
			case 0, 1:
				h.until(h.now.Add(time.Duration(rapid.IntRange(1, 24*60).Draw(rt, "minutes")) * time.Minute))
				// Whatever is said in that time was said by then.
				stopped = nil
			case 2:
				from := rapid.SampledFrom([]string{mother, father}).Draw(rt, "from")
				h.says(from, rapid.SampledFrom(bodies).Draw(rt, "body"))
			case 3:
				h.says(mother, rapid.String().Draw(rt, "any text"))
			case 4:
				h.do(ReceiptCame{Text: "maple-17.1.0", Status: rapid.SampledFrom([]string{"delivered", "undelivered"}).Draw(rt, "status")})
			case 5:
				if c := h.openCases(); len(c) > 0 {
					h.do(Claim{By: "staff:nora", Case: c[0].ID})
					h.do(Close{By: "staff:nora", Case: c[0].ID, Disposition: w.Protocols.Phrases("en").Keys("disposition.")[0]})
				}
			}
			for _, e := range h.all[n:] {
				if e.TextOut == nil {
					continue
				}
				if ids[e.TextOut.ID] {
					rt.Fatalf("id %s was made twice", e.TextOut.ID)
				}
				ids[e.TextOut.ID] = true
				c, _ := h.s.caregiver(e.TextOut.To)
				if stopped[c.Phone] && e.TextOut.Why != "consent" && e.TextOut.Why != "case" {
					rt.Fatalf("a %s text to a caregiver who ended texts: %q", e.TextOut.Why, e.TextOut.Body)
				}
			}
			if len(h.s.Prompts) > maxPrompts || len(h.s.Sent) > maxSent || len(h.s.Days) > 31 || len(h.openCases()) > 4 {
				rt.Fatalf("a list outgrew its bound: %d prompts, %d sent, %d days, %d open cases", len(h.s.Prompts), len(h.s.Sent), len(h.s.Days), len(h.openCases()))
			}
			for _, d := range h.s.Days {
				if v := d.Volume(); v.Given+v.Short+v.NotReported+v.NotAsked+v.Held != v.Prescribed {
					rt.Fatalf("day %s: the parts of %+v do not add up", d.Day, v)
				}
			}
			for i, e := range h.all {
				if e.Seq != int64(i+1) {
					rt.Fatalf("entry %d has number %d", i+1, e.Seq)
				}
			}
		}
	})
}

func stoppedPhones(s State) map[string]bool {
	out := map[string]bool{}
	for _, c := range s.Caregivers {
		out[c.Phone] = c.Stopped
	}
	return out
}
