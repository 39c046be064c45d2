package reply

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hearthline/internal/testneed"
)

// None of the open data was written by people who tube-feed at home: the
// figures say how the reader bears texts that nobody wrote for it.

// rows reads a tab-separated file without its head.
func rows(t *testing.T, parts ...string) [][]string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(append([]string{testneed.Data(t)}, parts...)...))
	if err != nil {
		t.Fatal(err)
	}
	var all [][]string
	for line := range strings.Lines(string(data)) {
		all = append(all, strings.Split(strings.TrimRight(line, "\r\n"), "\t"))
	}
	return all[1:]
}

// The published NegEx sentences (Chapman et al. 2001; the half kept here has
// 1,188 rows). To beat: recall 0.778, precision 0.845 of the original on its
// own set; wanted 0.93 and 0.93.
func TestNegExSentences(t *testing.T) {
	l := shipped(t)
	var tp, fp, fn, lost int
	for _, row := range rows(t, "negex", "annotations_half_a.tsv") {
		term, sentence := row[1], row[2]
		got, ok := l.Read(Text{Text: sentence, Terms: []string{term}}).Terms[term]
		if !ok {
			lost++
		}
		want := row[3] == "Negated"
		switch {
		case got == Absent && want:
			tp++
		case got == Absent:
			fp++
			note(t, "false negation of %q: %s", term, sentence)
		case want:
			fn++
			note(t, "missed negation of %q (%s): %s", term, got, sentence)
		}
	}
	p, r := float64(tp)/float64(tp+fp), float64(tp)/float64(tp+fn)
	t.Logf("negation: precision %.3f recall %.3f (tp %d fp %d fn %d), term not found in %d", p, r, tp, fp, fn, lost)
	if p < 0.93 || r < 0.93 {
		t.Errorf("precision %.3f recall %.3f, want 0.93 each", p, r)
	}
}

// note logs a miss where HEARTHLINE_MISSES is set, for whoever tunes the lists.
func note(t *testing.T, format string, args ...any) {
	if os.Getenv("HEARTHLINE_MISSES") != "" {
		t.Logf(format, args...)
	}
}

// Everyday requests of an open collection (CLINC150): wanted at most 2
// emergencies and 10 texts with any symptom in 1,000.
func TestEverydayRequestsAreNoTrouble(t *testing.T) {
	l := shipped(t)
	var n, emergencies, symptoms, volumes, optOuts int
	for _, row := range rows(t, "clinc150", "clinc150.tsv") {
		g := l.Read(Text{Text: row[2]})
		n++
		if g.Handling == Emergency {
			emergencies++
			note(t, "emergency: %s (%s)", row[2], g.Why)
		}
		if len(g.Present) > 0 {
			symptoms++
			note(t, "symptom %v: %s (%s)", g.Present, row[2], g.Why)
		}
		if g.GivenML != nil {
			volumes++
			note(t, "volume %d: %s", *g.GivenML, row[2])
		}
		if slices.Contains(g.Intent, "opt_out") {
			optOuts++
			note(t, "opt-out: %s", row[2])
		}
	}
	t.Logf("%d everyday requests: %d emergencies, %d with a symptom, %d volumes, %d opt-outs", n, emergencies, symptoms, volumes, optOuts)
	if emergencies*1000 > 2*n {
		t.Errorf("%d emergencies of %d, want at most 2 in 1,000", emergencies, n)
	}
	if symptoms*100 > n {
		t.Errorf("%d with a symptom of %d, want at most 1 in 100", symptoms, n)
	}
	if volumes*100 > n || optOuts*100 > n {
		t.Errorf("%d volumes and %d opt-outs of %d, want at most 1 in 100 each", volumes, optOuts, n)
	}
}

// Words of patients with their misspellings (PsyTAR, Zolnoori et al. 2019): a
// word list reaches nausea P .95 R .93, vomiting P .89 R 1.0, diarrhoea P .93
// R .79, constipation P .96 R .94.
func TestPatientsWords(t *testing.T) {
	l := shipped(t)
	floors := map[string][2]float64{
		"nausea": {.93, .93}, "vomiting": {.80, .95}, "diarrhea": {.90, .79}, "constipation": {.93, .94},
	}
	gold := map[string]string{"nausea": "nausea", "vomiting": "vomiting", "diarrhea": "diarrhoea", "constipation": "constipation"}
	type tally struct{ tp, fp, fn int }
	tallies := map[string]*tally{}
	for _, row := range rows(t, "psytar", "gi_gold_odd_posts.tsv") {
		if len(row) < 4 {
			continue
		}
		g := l.Read(Text{Text: row[2]})
		groups := strings.Split(row[3], ",")
		for code, group := range gold {
			if tallies[code] == nil {
				tallies[code] = &tally{}
			}
			// A sentence of the past is still a report there, and is past here.
			got := slices.ContainsFunc(g.Facts, func(f Fact) bool { return f.Code == code && (f.Status == Present || f.Status == Past) })
			want := slices.Contains(groups, group)
			if code == "nausea" && slices.Contains(groups, "upset_stomach") {
				continue // an upset stomach is nausea here and a group of its own there
			}
			switch {
			case got && want:
				tallies[code].tp++
			case got:
				tallies[code].fp++
				note(t, "%s read: %s", code, row[2])
			case want:
				tallies[code].fn++
				note(t, "%s missed: %s", code, row[2])
			}
		}
	}
	for code, floor := range floors {
		c := tallies[code]
		p, r := float64(c.tp)/float64(c.tp+c.fp), float64(c.tp)/float64(c.tp+c.fn)
		t.Logf("%s: precision %.3f recall %.3f (tp %d fp %d fn %d)", code, p, r, c.tp, c.fp, c.fn)
		if p < floor[0] || r < floor[1] {
			t.Errorf("%s: precision %.3f recall %.3f, want %.2f and %.2f", code, p, r, floor[0], floor[1])
		}
	}
}

// English and Spanish of one sentence (Tatoeba pairs) should read alike.
func TestBothLanguagesAgree(t *testing.T) {
	l := shipped(t)
	var n, differ, emergencies int
	for _, row := range rows(t, "tatoeba_en_es", "health_half_a.tsv") {
		if len(row) < 2 {
			continue
		}
		en, es := l.Read(Text{Text: row[0], Lang: "en"}), l.Read(Text{Text: row[1], Lang: "es"})
		n++
		if !slices.Equal(en.Present, es.Present) || !slices.Equal(en.Absent, es.Absent) {
			differ++
			note(t, "%s %v %v | %s %v %v", row[0], en.Present, en.Absent, row[1], es.Present, es.Absent)
		}
		if (en.Handling == Emergency) != (es.Handling == Emergency) {
			emergencies++
			note(t, "EMERGENCY differs: %s %s (%s) | %s %s (%s)", row[0], en.Handling, en.Why, row[1], es.Handling, es.Why)
		}
	}
	t.Logf("%d pairs: %d differ in codes, %d in being an emergency", n, differ, emergencies)
	if differ*100 > 17*n || emergencies*100 > 2*n {
		t.Errorf("%d of %d pairs differ, want at most 17 in 100 and 2 in 100 in being an emergency", differ, n)
	}
}
