package reply

import (
	"bufio"
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

type labelled struct {
	Text
	GivenML  *int64   `json:"given_ml"`
	FlushML  *int64   `json:"flush_ml"`
	Present  []string `json:"present"`
	Absent   []string `json:"absent"`
	Intent   []string `json:"intent"`
	Handling string   `json:"handling"`
	About    string   `json:"about"`
}

func corpus(t testing.TB, name string) []labelled {
	t.Helper()
	f, err := os.Open("../../testdata/replies/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out []labelled
	for sc := bufio.NewScanner(f); sc.Scan(); {
		var l labelled
		if err := json.Unmarshal(sc.Bytes(), &l); err != nil {
			t.Fatal(err)
		}
		if l.About == "" {
			out = append(out, l)
		}
	}
	return out
}

// The corpora are invented. What may never slip is held at its figure; the
// whole picture is printed by the score command.
func TestCorpora(t *testing.T) {
	l := shipped(t)
	for _, name := range []string{"dev.jsonl", "heldout.jsonl"} {
		var missed, needless, auto, falseAlarm, volumes, n int
		for _, c := range corpus(t, name) {
			g := l.Read(c.Text)
			n++
			switch {
			case c.Handling == Emergency && g.Handling != Emergency:
				t.Errorf("%s: emergency read as %s: %q (%s)", name, g.Handling, c.Text.Text, g.Why)
			case c.Handling == Nurse && g.Handling == Auto:
				missed++
				note(t, "filed as routine: %q", c.Text.Text)
			case c.Handling == Auto:
				auto++
				if g.Handling != Auto {
					needless++
				}
			}
			if c.Handling != Emergency && c.Handling != "either" && g.Handling == Emergency {
				falseAlarm++
			}
			if (g.GivenML == nil) != (c.GivenML == nil) || g.GivenML != nil && *g.GivenML != *c.GivenML {
				volumes++
			}
			if slices.Contains(c.Intent, "opt_out") != slices.Contains(g.Intent, "opt_out") && slices.Contains(c.Intent, "opt_out") {
				t.Errorf("%s: an opt-out missed: %q", name, c.Text.Text)
			}
		}
		t.Logf("%s: %d texts, %d filed that a nurse should see, %d of %d routine ones sent to a nurse, %d false emergencies, %d wrong volumes", name, n, missed, needless, auto, falseAlarm, volumes)
		if missed*100 > 2*n || needless*100 > 8*auto || falseAlarm > 2 || volumes*100 > 5*n {
			t.Errorf("%s: worse than it was", name)
		}
	}
}

// rank orders handling by urgency.
func rank(h string) int { return slices.Index([]string{Auto, Nurse, Emergency}, h) }

// What changes nothing for a reader may not lower the handling.
func TestChangesNeverLowerTheHandling(t *testing.T) {
	l := shipped(t)
	change := map[string]func(string) string{
		"greeting":   func(s string) string { return "hi good morning. " + s },
		"upper case": strings.ToUpper,
		"no accents": func(s string) string {
			return strings.NewReplacer("á", "a", "é", "e", "í", "i", "ó", "o", "ú", "u").Replace(s)
		},
		"danger":      func(s string) string { return s + ". his lips are blue and he can't breathe" },
		"danger es":   func(s string) string { return "tiene los labios morados. " + s },
		"white space": func(s string) string { return "  " + strings.ReplaceAll(s, " ", "   ") + "\n" },
	}
	for _, c := range slices.Concat(corpus(t, "dev.jsonl"), corpus(t, "heldout.jsonl")) {
		if strings.HasPrefix(c.Text.Text, "Liked") || len(c.Text.Text) < 8 {
			continue // a phone's own line, or one word, changes its meaning with any company
		}
		was := l.Read(c.Text)
		if slices.Contains(was.Intent, "opt_out") || slices.Contains(was.Intent, "help") {
			continue // a keyword alone is read as one
		}
		for name, f := range change {
			alike := c.Text
			alike.Text = f(c.Text.Text)
			g := l.Read(alike)
			if name == "danger" || name == "danger es" {
				if g.Handling != Emergency {
					t.Errorf("%s added to %q: %s (%s)", name, c.Text.Text, g.Handling, g.Why)
				}
				continue
			}
			if rank(g.Handling) < rank(was.Handling) {
				t.Errorf("%s lowers %q from %s to %s (%s)", name, c.Text.Text, was.Handling, g.Handling, g.Why)
			}
		}
	}
}

// One letter wrong in a text of danger still brings a person.
func TestOneSlipNeverMakesDangerRoutine(t *testing.T) {
	l := shipped(t)
	var dangers []labelled
	for _, c := range slices.Concat(corpus(t, "dev.jsonl"), corpus(t, "heldout.jsonl")) {
		if c.Handling == Emergency {
			dangers = append(dangers, c)
		}
	}
	var tried, lowered int
	for _, c := range dangers {
		for i := 1; i+1 < len(c.Text.Text); i++ {
			b := []byte(c.Text.Text)
			if b[i] < 'a' || b[i] > 'z' || b[i+1] < 'a' || b[i+1] > 'z' || b[i] == b[i+1] {
				continue
			}
			b[i], b[i+1] = b[i+1], b[i]
			slip := c.Text
			slip.Text = string(b)
			tried++
			switch g := l.Read(slip); g.Handling {
			case Auto:
				t.Errorf("%q is filed as routine", slip.Text)
			case Nurse:
				lowered++
			}
		}
	}
	t.Logf("%d texts with two letters swapped: %d read as nurse and not as emergency", tried, lowered)
	if lowered*100 > 30*tried {
		t.Errorf("%d of %d texts with one slip are no emergency any more", lowered, tried)
	}
}

func checkReading(t testing.TB, text string, g Reading) {
	if g.Present == nil || g.Absent == nil || g.Intent == nil || g.Facts == nil || g.Moments == nil || g.Unread == nil || g.Terms == nil {
		t.Fatalf("%q: a list is nil", text)
	}
	if rank(g.Handling) < 0 || g.Why == "" || g.Lang == "" {
		t.Fatalf("%q: handling %q, why %q, lang %q", text, g.Handling, g.Why, g.Lang)
	}
	for _, f := range g.Facts {
		if f.Start < 0 || f.End > len(text) || f.Start >= f.End || text[f.Start:f.End] != f.Quote {
			t.Fatalf("%q: fact %+v quotes what is not there", text, f)
		}
		if utf8.ValidString(text) && (!utf8.RuneStart(text[f.Start]) || f.End < len(text) && !utf8.RuneStart(text[f.End])) {
			t.Fatalf("%q: fact %+v cuts a character", text, f)
		}
	}
	for _, m := range g.Moments {
		if text[m.Start:m.End] != m.Quote {
			t.Fatalf("%q: moment %+v quotes what is not there", text, m)
		}
	}
	if len(g.Present) > 0 && g.Handling == Auto {
		t.Fatalf("%q: a symptom is present and filed as routine", text)
	}
}

func FuzzRead(f *testing.F) {
	l := shipped(f)
	for _, s := range []string{"gave 240, no fever", "se le salió la sonda", "\xff\xfe 1/0 ½½", "((((\"\"\"", strings.Repeat("no ", 300), "5 5 5 5 x 5 of 5", "👍🏽👍🏽", "I'll 'll '", "1.1.1.1:1:1"} {
		f.Add(s, "feed_end", int64(240), "fever")
	}
	f.Fuzz(func(t *testing.T, text, kind string, ml int64, term string) {
		in := Text{Text: text, Asked: &Asked{Kind: kind, ExpectedML: &ml, ContainerML: &ml}, Terms: []string{term}}
		g := l.Read(in)
		checkReading(t, text, g)
		if again := l.Read(in); !cmp.Equal(g, again) {
			t.Fatalf("%q: two readings differ: %s", text, cmp.Diff(g, again))
		}
	})
}

func FuzzScan(f *testing.F) {
	l := shipped(f)
	f.Add("8oz don't 7:00 a.m. g-tube -> 38,5°")
	f.Fuzz(func(t *testing.T, text string) {
		var r run
		r.reset(l, text)
		r.scan(text)
		last := 0
		for _, k := range r.toks {
			if k.start < last || k.end <= k.start || k.end > len(text) {
				t.Fatalf("%q: token %+v after %d", text, k, last)
			}
			last = k.end
		}
	})
}

func FuzzLoad(f *testing.F) {
	limits, err := os.ReadFile("../../flows/words/limits.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add("language: xx\nsymptoms:\n  fever: hot ~2 head\n")
	f.Add("language: xx\nnumbers: one=1 half=1/2\nclasses:\n  skip: a, b c\nemergency:\n  breathing: '@skip|x* N y? $'\n")
	f.Fuzz(func(t *testing.T, file string) {
		l, err := Load(fstest.MapFS{"words/limits.yaml": {Data: limits}, "words/xx.yaml": {Data: []byte(file)}})
		if err == nil {
			checkReading(t, "hot on the head 240 ml", l.Read(Text{Text: "hot on the head 240 ml"}))
		}
	})
}

func TestReadingRoundTrips(t *testing.T) {
	l := shipped(t)
	for _, c := range corpus(t, "dev.jsonl") {
		g := l.Read(c.Text)
		checkReading(t, c.Text.Text, g)
		b, err := json.Marshal(g)
		if err != nil {
			t.Fatal(err)
		}
		var back Reading
		if err := json.Unmarshal(b, &back); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(g, back); diff != "" {
			t.Errorf("%q: %s", c.Text.Text, diff)
		}
	}
}

// A long text costs what its length does, and its tail is never passed over.
func TestLongTexts(t *testing.T) {
	l := shipped(t)
	for _, unit := range []string{"no ", "if ", "240 ml ", "his lips ", "\"", "one ", "blue ", "throw ", "'", "… "} {
		text := strings.Repeat(unit, 10000/len(unit)+1)
		checkReading(t, text, l.Read(Text{Text: text, Asked: &Asked{Kind: FeedEnd}}))
	}
	if g := l.Read(Text{Text: strings.Repeat("ok ", 20000) + "she is not breathing"}); g.Handling == Auto {
		t.Errorf("the tail of a long text was passed over")
	}
}

// A language is a file: a third small one reads without a line of code.
func TestThirdLanguage(t *testing.T) {
	l, err := Load(os.DirFS("testdata/third"))
	if err != nil {
		t.Fatal(err)
	}
	ml := int64(240)
	for _, c := range []struct {
		text, handling string
		given          int64
		present        string
	}{
		{"Elle a vomi", Nurse, -1, "vomiting"},
		{"ses lèvres sont bleues", Emergency, -1, "breathing"},
		{"pas de fièvre", Auto, -1, ""},
		{"donné 240 ml", Auto, 240, ""},
		{"oui", Auto, 240, ""},
		{"il a mangé du fromage", Nurse, -1, ""},
	} {
		g := l.Read(Text{Text: c.text, Asked: &Asked{Kind: FeedEnd, ExpectedML: &ml}})
		if g.Handling != c.handling || strings.Join(g.Present, " ") != c.present || c.given >= 0 && (g.GivenML == nil || *g.GivenML != c.given) {
			t.Errorf("%q: %s %v given %v (%s)", c.text, g.Handling, g.Present, g.GivenML, g.Why)
		}
	}
}

func TestLoadNamesWhatIsWrong(t *testing.T) {
	limits, err := os.ReadFile("../../flows/words/limits.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ file, want string }{
		{"symptoms: {}\n", "words/xx.yaml:1: language"},
		{"language: xx\nsymptoms:\n  cold: sniffles\n", `words/xx.yaml:3: symptoms.cold: no symptom code "cold"`},
		{"language: xx\nsymptoms:\n  fever: |\n    hot\n    ~2 hot\n", "words/xx.yaml:5: symptoms.fever"},
		{"language: xx\nsymptoms:\n  fever: hot @head\n", "class @head"},
		{"language: xx\nsymptom:\n  fever: hot\n", "words/xx.yaml:2: symptom: unknown key"},
		{"language: xx\nnumbers: one=eins\n", "words/xx.yaml:2: numbers"},
		{"language: xx\nunits:\n  hogshead: hogshead\n", "words/xx.yaml:3: units.hogshead: no such unit"},
		{"language: xx\nlanguage: yy\n", "words/xx.yaml"},
	} {
		_, err := Load(fstest.MapFS{"words/limits.yaml": {Data: limits}, "words/xx.yaml": {Data: []byte(c.file)}})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: error %v, want one with %q", c.file, err, c.want)
		}
	}
	if _, err := Load(fstest.MapFS{"words/xx.yaml": {Data: []byte("language: xx\n")}}); err == nil || !strings.Contains(err.Error(), "limits.yaml") {
		t.Errorf("no limits: %v", err)
	}
}

// The matcher agrees with a naive one that tries every way at every token.
func TestMatcherAgreesWithANaiveOne(t *testing.T) {
	limits, err := os.ReadFile("../../flows/words/limits.yaml")
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.SampledFrom([]string{"ab", "cd", "ef", "gh", "ij"})
		var parts []string
		parts = append(parts, word.Draw(t, "first"))
		for range rapid.IntRange(0, 3).Draw(t, "more") {
			switch rapid.IntRange(0, 3).Draw(t, "kind") {
			case 0:
				parts = append(parts, "~"+string(rune('0'+rapid.IntRange(1, 3).Draw(t, "gap"))), word.Draw(t, "after"))
			case 1:
				parts = append(parts, word.Draw(t, "a")+"|"+word.Draw(t, "b"))
			case 2:
				parts = append(parts, word.Draw(t, "maybe")+"?", word.Draw(t, "then"))
			default:
				parts = append(parts, word.Draw(t, "next"))
			}
		}
		l, err := Load(fstest.MapFS{"words/limits.yaml": {Data: limits}, "words/xx.yaml": {Data: []byte("language: xx\nsymptoms:\n  fever: '" + strings.Join(parts, " ") + "'\n")}})
		if err != nil {
			t.Fatal(err)
		}
		text := rapid.SliceOfN(word, 1, 10).Draw(t, "text")
		want := false
		for i := range text {
			want = want || naive(parts, text[i:])
		}
		g := l.Read(Text{Text: strings.Join(text, " ")})
		if got := len(g.Facts) > 0; got != want {
			t.Fatalf("%q in %q: got %v want %v", strings.Join(parts, " "), text, got, want)
		}
	})
}

func naive(parts, text []string) bool {
	if len(parts) == 0 {
		return true
	}
	p := parts[0]
	if p[0] == '~' {
		for k := 0; k <= int(p[1]-'0') && k <= len(text); k++ {
			if naive(parts[1:], text[k:]) {
				return true
			}
		}
		return false
	}
	if maybe, ok := strings.CutSuffix(p, "?"); ok {
		return len(text) > 0 && text[0] == maybe && naive(parts[1:], text[1:]) || naive(parts[1:], text)
	}
	return len(text) > 0 && slices.Contains(strings.Split(p, "|"), text[0]) && naive(parts[1:], text[1:])
}

func TestSlipsThatMustNotMerge(t *testing.T) {
	l := shipped(t)
	for _, c := range []struct{ text, never string }{
		{"he stooped to pick up the toy", "opt_out"},
		{"we stoped at the store", "opt_out"},
	} {
		if g := l.Read(Text{Text: c.text}); slices.Contains(g.Intent, c.never) {
			t.Errorf("%q: %v", c.text, g.Intent)
		}
	}
	for _, text := range []string{"she is vommiting", "he has diarreah", "feaver 102", "nausia today", "diahrea again", "vomitting all night"} {
		if g := l.Read(Text{Text: text}); len(g.Present) == 0 {
			t.Errorf("%q: nothing read (%v)", text, g.Unread)
		}
	}
}

func BenchmarkRead(b *testing.B) {
	l := shipped(b)
	texts := corpus(b, "dev.jsonl")
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		l.Read(texts[i%len(texts)].Text)
		i++
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "texts/s")
}

func BenchmarkLoad(b *testing.B) {
	for b.Loop() {
		if _, err := Load(os.DirFS("../../flows")); err != nil {
			b.Fatal(err)
		}
	}
}
