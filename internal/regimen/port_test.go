package regimen

import (
	"bytes"
	"strings"
	"testing"
)

// Through a tube with two ports every text and sheet that has hands put
// something into it says which one; two segments still hold it.
func TestTwoPortsAreNamed(t *testing.T) {
	for _, c := range []struct{ port, feed, en, es string }{
		{"jejunal", `{name: a very long feed name ab, start: "19:00", rate_ml_per_h: 55, hours: 9, port: jejunal, wake: true}`, "into the bowel port", "entrada del intestino"},
		{"gastric", `{name: lunch, start: "12:00", volume_ml: 200, hours: 0.5, by: syringe, port: gastric}`, "into the stomach port", "entrada del vientre"},
	} {
		src := strings.Replace(minimal("America/Chicago", "07:00", "feeds:\n  - "+c.feed+"\nflush: {before_ml: 10, after_ml: 10, every_h: 4, every_ml: 15}\nother_lines: [central_line]\n"), "kind: gastrostomy", "kind: gastrojejunostomy", 1)
		pl := compile(t, src)
		for lang, want := range map[string]string{"en": c.en, "es": c.es} {
			w := loadWords(t, lang)
			for _, pr := range pl.Prompts("2026-03-04", 1, Actual{}) {
				text := pl.Text(pr, w)
				if n := Segments(text); n > 2 {
					t.Errorf("%s: %d segments: %s", c.port, n, text)
				}
				for _, s := range pl.sentencesOf(pr, w) {
					if (strings.Contains(s, " water") || strings.Contains(s, "agua") || strings.Contains(s, ": start the") || strings.Contains(s, ": give the") || strings.Contains(s, ": empiece la toma") || strings.Contains(s, ": dé la toma")) && !strings.Contains(s, want) {
						t.Errorf("%s %s: %q does not say %q", c.port, lang, s, want)
					}
				}
			}
			var table, door bytes.Buffer
			if err := pl.WriteTable(&table, "2026-03-04", 1, w); err != nil {
				t.Fatal(err)
			}
			if err := pl.WriteDoorSheet(&door, "2026-03-04", lang, w); err != nil {
				t.Fatal(err)
			}
			for _, page := range []string{table.String(), door.String()} {
				// The start, and each flush of it.
				if n := strings.Count(page, want); n < 3 {
					t.Errorf("%s %s: the port stands %d times on\n%s", c.port, lang, n, page)
				}
			}
		}
	}
}

// sentencesOf is what a prompt would say if it had room for all.
func (p *Plan) sentencesOf(pr Prompt, w Phrases) []string {
	c := composer{p: p, pr: &pr, w: w, o: p.orderAt(pr.At.Unix())}
	c.compose()
	var out []string
	for i := range c.pieces {
		out = append(out, c.pieces[i].text)
	}
	return out
}
