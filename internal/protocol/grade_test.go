package protocol

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"hearthline/internal/testneed"
)

// Published examples of the Flesch-Kincaid grade level: the sentence about the
// platypus (13 words, 24 syllables) is 11.3, "The cat sat on the mat" is -1.45.
func TestGradeOfPublishedExamples(t *testing.T) {
	for _, tc := range []struct {
		text  string
		words int
		grade float64
	}{
		{"The Australian platypus is seemingly a hybrid of a mammal and reptilian creature.", 13, 11.3},
		{"The cat sat on the mat.", 6, -1.45},
	} {
		c := CountEnglish(tc.text)
		if c.Words != tc.words || math.Abs(c.Grade()-tc.grade) > 0.05 {
			t.Errorf("%q: %+v grade %.2f, want %d words and %.2f", tc.text, c, c.Grade(), tc.words, tc.grade)
		}
	}
}

// Syllables from a dictionary's hyphenation, by hand.
func TestSyllables(t *testing.T) {
	for word, want := range map[string]int{
		"nurse": 1, "emergency": 4, "call": 1, "feed": 1, "vomiting": 3, "noted": 2, "started": 2, "moved": 1,
		"trouble": 2, "people": 2, "breathe": 1, "diapers": 3, "mL": 2, "squeeze": 1, "changes": 2, "clothing": 2,
		"stopped": 1, "medicine": 3, "hospital": 3, "temperature": 4, "water": 2,
	} {
		if got := englishSyllables(strings.ToLower(word)); got != want {
			t.Errorf("englishSyllables(%q) = %d, want %d", word, got, want)
		}
	}
	for word, want := range map[string]int{
		"enfermera": 4, "emergencia": 4, "sonda": 2, "después": 2, "día": 2, "toma": 2, "llame": 2, "guarde": 2,
		"siga": 2, "quien": 1, "agua": 2, "pingüino": 3, "leer": 2, "caer": 2, "y": 1, "voy": 1, "ahora": 3,
		"teléfono": 4, "pies": 1, "ahí": 2, "prohibido": 3,
	} {
		if got := spanishSyllables(word); got != want {
			t.Errorf("spanishSyllables(%q) = %d, want %d", word, got, want)
		}
	}
}

// The formula against the independent npm package flesch-kincaid, and our
// syllables against the npm package syllable, over every English text.
func TestGradeAgainstIndependentLibraries(t *testing.T) {
	dir := testneed.Node(t, "flesch-kincaid")
	s := shipped(t)
	type row struct {
		Text   string
		Counts Counts
	}
	var rows []row
	for _, key := range s.messages.keys("en") {
		if forCaregivers(key) {
			text := readable(s.messages.text["en"][key])
			rows = append(rows, row{text, CountEnglish(text)})
		}
	}
	input, err := json.Marshal(rows)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "rows.json")
	if err := os.WriteFile(file, input, 0o600); err != nil {
		t.Fatal(err)
	}
	script := `
import {fleschKincaid} from 'flesch-kincaid'
import {syllable} from 'syllable'
import {readFileSync} from 'node:fs'
const rows = JSON.parse(readFileSync(process.argv[1]))
console.log(JSON.stringify(rows.map(r => ({
  grade: fleschKincaid({sentence: r.Counts.Sentences, word: r.Counts.Words, syllable: r.Counts.Syllables}),
  syllables: syllable(r.Text.replace(/\bmL\b/g, 'em el'))}))))`
	cmd := exec.Command("node", "--input-type=module", "-e", script, file)
	cmd.Dir = dir
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("node: %v", err)
	}
	var want []struct {
		Grade     float64
		Syllables int
	}
	if err := json.Unmarshal(out, &want); err != nil {
		t.Fatal(err)
	}
	ours, theirs := 0, 0
	for i, r := range rows {
		if math.Abs(r.Counts.Grade()-want[i].Grade) > 1e-9 {
			t.Errorf("%q: grade %.4f, flesch-kincaid says %.4f", r.Text, r.Counts.Grade(), want[i].Grade)
		}
		ours += r.Counts.Syllables
		theirs += want[i].Syllables
	}
	if off := math.Abs(float64(ours-theirs)) / float64(theirs); off > 0.02 {
		t.Errorf("syllables of all texts: ours %d, theirs %d, %.1f %% apart, want at most 2 %%", ours, theirs, 100*off)
	}
}
