package web

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/ledger"
)

func splitOf(given, short, notReported, notAsked, held int64) ledger.Split {
	return ledger.Split{Prescribed: given + short + notReported + notAsked + held, Given: given, Short: short,
		NotReported: notReported, NotAsked: notAsked, Held: held}
}

// TestEveryWordIsThere reads our own source: a key that a page names must be in
// words.yaml, and a key that nothing names must not.
func TestEveryWordIsThere(t *testing.T) {
	files, err := filepath.Glob("*.*")
	if err != nil {
		t.Fatal(err)
	}
	source := ""
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") || strings.HasSuffix(f, "_templ.go") || f == "words.yaml" {
			continue
		}
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		source += string(b)
	}
	named := map[string]bool{}
	for _, m := range regexp.MustCompile(`\b(say|sayf|add|key :?=|key =|count)\(?\s*"([a-z_]+(?:\.[a-z_0-9.]+)?)"`).FindAllStringSubmatch(source, -1) {
		named[m[2]] = true
		if m[1] == "count" {
			named[m[2]+"_one"] = true
		}
	}
	// Keys that are put together: their beginnings.
	families := []string{"nav.", "part.", "status.", "answer.", "read.", "thread.", "act.", "why.", "demo.speed.", "title."}
	for k := range named {
		if _, ok := words[k]; !ok && !strings.HasSuffix(k, ".") {
			t.Errorf("words.yaml lacks %q", k)
		}
	}
	for k := range words {
		family := false
		for _, f := range families {
			family = family || strings.HasPrefix(k, f)
		}
		if !named[k] && !family && !strings.Contains(source, `"`+k+`"`) {
			t.Errorf("words.yaml has %q, which no page says", k)
		}
	}
}

func TestTimesInWords(t *testing.T) {
	for d, want := range map[time.Duration]string{
		-time.Second: "0 s", 0: "0 s", 59 * time.Second: "59 s", time.Minute: "1 min", 59*time.Minute + 59*time.Second: "59 min",
		time.Hour: "1 h 00 min", 2*time.Hour + 5*time.Minute: "2 h 05 min", 24 * time.Hour: "1 d 0 h", 76 * time.Hour: "3 d 4 h",
	} {
		if got := span(d); got != want {
			t.Errorf("span(%v) = %q, want %q", d, got, want)
		}
	}
	for d, want := range map[time.Duration]string{
		12 * time.Minute: "12 min left", time.Minute: "1 min left", 59 * time.Second: "due now", 0: "due now",
		-59 * time.Second: "due now", -time.Minute: "overdue by 1 min", -3 * time.Hour: "overdue by 3 h 00 min",
	} {
		if got := left(testNow, ms(d)); got != want {
			t.Errorf("left(%v) = %q, want %q", d, got, want)
		}
	}
}

func TestWick(t *testing.T) {
	for _, tt := range []struct {
		opened, by time.Duration
		want       int
	}{{-30 * time.Minute, 30 * time.Minute, 50}, {-time.Hour, 0, 0}, {-time.Hour, -time.Minute, 0}, {0, time.Hour, 100}, {time.Hour, 2 * time.Hour, 100}, {0, 0, 0}} {
		if got := wick(ms(tt.opened), ms(tt.by), testNow); got != tt.want {
			t.Errorf("wick(%v, %v) = %d, want %d", tt.opened, tt.by, got, tt.want)
		}
	}
}

// TestZonesAreSaid: the night on which New York's clocks go back has 01:30 twice.
func TestZonesAreSaid(t *testing.T) {
	ny := mustZone("America/New_York")
	first := journal.At(time.Date(2026, 11, 1, 5, 30, 0, 0, time.UTC))
	if a, b := clock(first, ny), clock(first+journal.Millis(time.Hour/time.Millisecond), ny); a != "01:30 EDT" || b != "01:30 EST" {
		t.Errorf("= %q and %q", a, b)
	}
}
