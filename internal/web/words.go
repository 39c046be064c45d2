package web

import (
	_ "embed"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml"

	"hearthline/internal/journal"
)

//go:embed words.yaml
var wordsFile []byte

var words = func() map[string]string {
	m := map[string]string{}
	if err := yaml.UnmarshalWithOptions(wordsFile, &m, yaml.Strict()); err != nil {
		panic("web: words.yaml: " + err.Error())
	}
	return m
}()

// say returns a screen's words. A key that is not in words.yaml is a
// programmer's mistake; a test says every key that the code names.
func say(key string) string {
	w, ok := words[key]
	if !ok {
		return "[" + key + "]"
	}
	return w
}

// sayf puts args in the places {0}, {1} and so on.
func sayf(key string, args ...string) string {
	pairs := make([]string, 0, 2*len(args))
	for i, a := range args {
		pairs = append(pairs, "{"+strconv.Itoa(i)+"}", a)
	}
	return strings.NewReplacer(pairs...).Replace(say(key))
}

// count says n of something, with a word of its own for one.
func count(key string, n int) string {
	if n == 1 {
		return say(key + "_one")
	}
	return sayf(key, strconv.Itoa(n))
}

// span says how long d is in the two largest units that matter: "40 s",
// "12 min", "2 h 05 min", "3 d 4 h". Negative ones count as zero.
func span(d time.Duration) string {
	d = max(0, d)
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", int(d/time.Second))
	case d < time.Hour:
		return fmt.Sprintf("%d min", int(d/time.Minute))
	case d < 24*time.Hour:
		return fmt.Sprintf("%d h %02d min", int(d/time.Hour), int(d%time.Hour/time.Minute))
	default:
		return fmt.Sprintf("%d d %d h", int(d/(24*time.Hour)), int(d%(24*time.Hour)/time.Hour))
	}
}

// ago is span without seconds, for things whose minute is enough.
func ago(d time.Duration) string {
	if d < time.Minute {
		return "1 min"
	}
	return span(d)
}

// left says how long there is until by.
func left(now time.Time, by journal.Millis) string {
	d := by.Time().Sub(now)
	switch {
	case d <= -time.Minute:
		return sayf("left.overdue", ago(-d))
	case d < time.Minute:
		return say("left.now")
	default:
		return sayf("left.left", ago(d))
	}
}

// seconds is d in whole seconds, rounded up, for people and Retry-After.
func seconds(d time.Duration) string {
	return strconv.Itoa(int((d + time.Second - 1) / time.Second))
}

// zoneOf is a household's zone, or the branch's where it has none that is known.
func (s *Site) zoneOf(name string) *time.Location {
	if name == "" {
		return s.cfg.Zone
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		return s.cfg.Zone
	}
	return z
}

// clock says a time of day with its zone: "03:12 CDT".
func clock(m journal.Millis, z *time.Location) string { return m.Time().In(z).Format("15:04 MST") }

// dayClock says day and time: "Sat 2 May, 03:12 CDT".
func dayClock(m journal.Millis, z *time.Location) string {
	return m.Time().In(z).Format("Mon 2 Jan, 15:04 MST")
}

// machine is an instant as <time datetime> wants it.
func machine(m journal.Millis) string { return m.Time().UTC().Format(time.RFC3339) }

// dayName says a feed day: "Sat 2 May".
func dayName(d journal.Day) string {
	t, err := time.Parse("2006-01-02", string(d))
	if err != nil {
		return string(d)
	}
	return t.Format("Mon 2 Jan")
}

// plain turns a code into words where the flows have none for it.
func plain(code string) string { return strings.ReplaceAll(code, "_", " ") }

// phrase is a text of flows/, or the last part of its key where there is none:
// a case is never shown without any title.
func (s *Site) phrase(key string) string {
	if p := s.cfg.Phrases("en"); p.Has(key) {
		return p.Say(key, nil)
	}
	return plain(key[strings.LastIndexByte(key, '.')+1:])
}

// code names a symptom code.
func (s *Site) code(c string) string {
	if key := "code." + c; s.cfg.Phrases("en").Has(key) {
		return s.phrase(key)
	}
	return plain(c)
}

func (s *Site) codes(cs []string) []string {
	out := make([]string, len(cs))
	for i, c := range cs {
		out[i] = s.code(c)
	}
	return out
}

// person is who did something, as the journal names it, in words.
func person(by string, names map[journal.CaregiverRef]string) string {
	if name, ok := strings.CutPrefix(by, staffPrefix); ok {
		return name
	}
	if ref, ok := strings.CutPrefix(by, "caregiver:"); ok {
		if n := names[journal.CaregiverRef(ref)]; n != "" {
			return n
		}
		return say("who.caregiver")
	}
	if by == "engine" || by == "" {
		return say("who.engine")
	}
	return by
}

func atoi(s string, def, lo, hi int) int {
	n, err := strconv.Atoi(s)
	if err != nil {
		return def
	}
	return min(hi, max(lo, n))
}
