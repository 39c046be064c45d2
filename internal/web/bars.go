package web

import (
	"strconv"
	"strings"

	"hearthline/internal/journal"
	"hearthline/internal/ledger"
)

// part is one part of a prescribed amount. Its pattern and its words tell it
// apart; colour only helps.
type part struct {
	Key   string // given, short, not_reported, not_asked, held, to_come
	Class string
	Words string
	ML    int64
	Over  int64 // place where it begins, and how far it reaches, in
	Span  int64 // thousandths of the whole
}

// dayBar is one feed day, ready to be drawn and said.
type dayBar struct {
	Name     string // "Sat 2 May"
	Letter   string // "Sa"
	Running  bool
	Parts    []part // those that are not zero; together the whole
	Split    ledger.Split
	Sentence string
	Short    string // what is not given, in words; "" where all is
	Energy   string
	Flushes  string
	Bags     string
	Asked    string
}

var partOrder = []string{"given", "short", "not_reported", "not_asked", "held", "to_come"}

func partsOf(s ledger.Split) []part {
	ml := map[string]int64{"given": s.Given, "short": s.Short, "not_reported": s.NotReported, "not_asked": s.NotAsked, "held": s.Held, "to_come": s.ToCome}
	var out []part
	var sum int64
	for _, key := range partOrder {
		n := ml[key]
		if n <= 0 || s.Prescribed <= 0 {
			continue
		}
		// Cut at running sums, so that the parts always fill the whole exactly.
		from := 1000 * sum / s.Prescribed
		sum += n
		to := min(1000, 1000*sum/s.Prescribed)
		out = append(out, part{Key: key, Class: partClass(key), Words: say("part." + key), ML: n, Over: from, Span: to - from})
	}
	return out
}

// barOf makes a day's bar; energy is given of prescribed in thousandths of a kilocalorie.
func barOf(day journal.Day, v ledger.Split, energy string, flushes, bags ledger.Tally, asked, answered int, closed bool) dayBar {
	b := dayBar{Name: dayName(day), Running: !closed, Parts: partsOf(v), Split: v, Energy: energy,
		Flushes: tallyWords(flushes), Bags: tallyWords(bags), Asked: sayf("day.of", strconv.Itoa(answered), strconv.Itoa(asked))}
	b.Letter = b.Name[:min(2, len(b.Name))]
	name := b.Name
	if b.Running {
		name = sayf("day.so_far", name)
	}
	if v.Prescribed <= 0 {
		b.Sentence = sayf("day.nothing", name)
		return b
	}
	b.Sentence = sayf("day.sentence", name, ml(v.Given), ml(v.Prescribed))
	var rest []string
	for _, p := range b.Parts {
		if p.Key != "given" {
			rest = append(rest, ml(p.ML)+" mL "+p.Words)
		}
	}
	if v.Over > 0 {
		rest = append(rest, ml(v.Over)+" mL "+say("part.over"))
	}
	b.Short = strings.Join(rest, ", ")
	return b
}

func ml(n int64) string { return strconv.FormatInt(n, 10) }

// tallyWords says done of due, and apart from it what was not reported.
func tallyWords(t ledger.Tally) string {
	w := sayf("day.of", strconv.Itoa(t.Done), strconv.Itoa(t.Due))
	if n := t.NotReported(); n > 0 {
		w += ", " + strconv.Itoa(n) + " " + say("part.not_reported")
	}
	return w
}

// kcal rounds thousandths of a kilocalorie half up.
func kcal(milli int64) string { return strconv.FormatInt(journal.HalfUp(max(0, milli), 1000), 10) }

// Measures of the drawings, in their own units.
const (
	colStep, colWidth, colHeight = 36, 28, 60
	barLength                    = 1000
)

func num(n int64) string { return strconv.FormatInt(n, 10) }

// colY and colH place a part in a column that stands on its foot.
func colY(p part) string { return num(colHeight - (p.Over+p.Span)*colHeight/1000) }
func colH(p part) string {
	return num((p.Over+p.Span)*colHeight/1000 - p.Over*colHeight/1000)
}

func partClass(key string) string { return "p-" + strings.ReplaceAll(key, "_", "-") }

// overLength is how long the strip for what went beyond the prescription is,
// in the bar's units: to scale, but never too short to be seen.
func overLength(s ledger.Split) int64 {
	if s.Over <= 0 || s.Prescribed <= 0 {
		return 0
	}
	return min(barLength, max(barLength/50, barLength*s.Over/s.Prescribed))
}
