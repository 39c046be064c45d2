package regimen

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hearthline/internal/testneed"
)

func limits(t testing.TB) *Limits {
	t.Helper()
	src, err := os.ReadFile(filepath.Join(testneed.Root(t), "flows", "limits.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := ParseLimits("flows/limits.yaml", src)
	if err != nil {
		t.Fatal(err)
	}
	return lim
}

func regimenFile(t testing.TB, name string) []byte {
	t.Helper()
	src, err := os.ReadFile(filepath.Join(testneed.Root(t), "testdata", "regimens", name))
	if err != nil {
		t.Fatal(err)
	}
	return src
}

// minimal is a regimen of the fewest fields; feeds and more are put in.
func minimal(zone, dayStarts, rest string) string {
	return fmt.Sprintf(`household: test-1
time_zone: %s
languages: [en]
tube: {kind: gastrostomy}
formula: {energy_kcal_per_ml: 1.0, protein_g_per_l: 40, water_fraction: 0.85, container_ml: 250, system: open, prepared: ready_to_feed}
feed_day_starts: "%s"
birth_month: 1980-01
%s`, zone, dayStarts, rest)
}

func parse(t testing.TB, src string) *Prescription {
	t.Helper()
	p, _, err := Parse("test.yaml", []byte(src), limits(t))
	if err != nil {
		t.Fatalf("%v\n%s", err, src)
	}
	return p
}

func compile(t testing.TB, src string) *Plan {
	t.Helper()
	pl, err := Compile(parse(t, src), limits(t))
	if err != nil {
		t.Fatal(err)
	}
	return pl
}

func instant(t testing.TB, s string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// words says keys with the shipped message files, read line by line.
type words map[string]string

func loadWords(t testing.TB, lang string) words {
	t.Helper()
	src, err := os.ReadFile(filepath.Join(testneed.Root(t), "flows", "messages", "prompts."+lang+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	w := words{}
	for _, line := range strings.Split(string(src), "\n") {
		if k, v, ok := strings.Cut(line, ": \""); ok && !strings.HasPrefix(line, "#") {
			w[k] = strings.TrimSuffix(v, "\"")
		}
	}
	return w
}

func (w words) Say(key string, args map[string]string) string {
	text, ok := w[key]
	if !ok {
		panic("no wording for " + key)
	}
	for k, v := range args {
		text = strings.ReplaceAll(text, "{"+k+"}", v)
	}
	if strings.Contains(text, "{") {
		panic(key + " has a placeholder left: " + text)
	}
	return text
}

func (w words) Clock(t time.Time) string { return t.Format("3:04 PM") }
