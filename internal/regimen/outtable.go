package regimen

import (
	"fmt"
	"html/template"
	"io"
	"sort"
	"strings"
	"time"

	"github.com/rivo/uniseg"

	"hearthline/internal/journal"
)

// row is one action of a day as a person reads it.
type row struct {
	At    time.Time
	Clock string
	What  string
	Said  string // when the text that says it goes out
	Night bool
}

// rows returns the actions of the feed day in order of time, each with the time of its text.
func (p *Plan) rows(day journal.Day, say Phrases) []row {
	var out []row
	start, known := p.DayStart(day)
	if !known {
		return nil
	}
	end := p.FeedDay(start).End
	// A day's first act may be said in a text of the day before, and its last in
	// one of the day after.
	for _, pr := range p.Prompts(DayAfter(day, -1), 3, Actual{}) {
		for _, a := range pr.Acts {
			if a.Occurrence != "" && keyDay(a.Occurrence) != day {
				continue
			}
			if a.Occurrence == "" && (a.At.Before(start) || !a.At.Before(end)) {
				continue
			}
			if w := p.actText(a, say); w != "" {
				out = append(out, row{At: a.At, Clock: say.Clock(a.At), What: w, Said: say.Clock(pr.At), Night: p.Night(pr)})
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].At.Before(out[j].At) })
	return out
}

func (p *Plan) actText(a Act, say Phrases) string {
	args := map[string]string{"feed": a.Feed, "ml": mlText(a.ML)}
	c := composer{o: p.orderAt(a.At.Unix()), w: say}
	key := "plan." + string(a.Kind)
	switch a.Kind {
	case ActFeedStart:
		if f := c.feedOrder(a.Feed); f != nil && f.By == ByPump {
			args["rate"] = f.RateMLPerH.String()
		} else {
			key += "_by_hand"
		}
		args["port"] = c.portOf(a.Feed)
	case ActMedication:
		n := a.Medicines + 1
		args["n"], args["each"] = fmt.Sprint(n), mlText(a.ML/journal.ML(n))
	case ActFlush:
		if a.Occurrence == "" {
			args["port"] = say.Say(portWords(a.Feed), nil)
		} else {
			args["port"] = c.portOf(a.Feed)
		}
	}
	if a.Kind == ActFill || a.Kind == ActBagChange {
		key = c.hung(key)
	}
	if args["port"] != "" {
		key += portKey
	}
	return say.Say(key, args)
}

// WriteTable writes n feed days as a table that is read at a glance, each with
// its totals: when, what, and when the text that says it goes out.
func (p *Plan) WriteTable(w io.Writer, day journal.Day, n int, say Phrases) error {
	var b strings.Builder
	for i := range n {
		d := DayAfter(day, i)
		at, ok := p.DayStart(d)
		if !ok {
			return fmt.Errorf("%q is not a date", d)
		}
		dp := p.FeedDay(at)
		fmt.Fprintf(&b, "%s %s to %s\n", dp.Start.Format("Monday 2006-01-02"), dp.Start.Format("15:04 MST"), dp.End.Format("Monday 15:04 MST"))
		rows := p.rows(d, say)
		wide := 0
		for _, r := range rows {
			wide = max(wide, uniseg.StringWidth(r.What))
		}
		for _, r := range rows {
			night := ""
			if r.Night {
				night = " (night)"
			}
			fmt.Fprintf(&b, "  %-9s %s%s  text %s%s\n", r.Clock, r.What, strings.Repeat(" ", wide-uniseg.StringWidth(r.What)), r.Said, night)
		}
		if len(rows) == 0 {
			b.WriteString("  nothing prescribed\n")
		}
		t := dp.Totals
		s := summaryOf(p.orderAt(at.Unix()), t)
		fmt.Fprintf(&b, "  total     %d mL in %d feeds, %d fills", t.VolumeML, len(dp.Feeds), t.Fills)
		if s.EnergyKcal != nil {
			fmt.Fprintf(&b, "; %s kcal", *s.EnergyKcal)
		} else {
			b.WriteString("; energy not known")
		}
		if s.WaterML != nil {
			fmt.Fprintf(&b, "; protein %s g; water %s mL (formula %s + flushes %d)", *s.ProteinG, *s.WaterML, *s.FormulaWaterML, t.FlushWaterML)
		} else {
			fmt.Fprintf(&b, "; protein and formula water not known; flushes %d mL", t.FlushWaterML)
		}
		b.WriteString("\n\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// doorSheet is the page for the refrigerator door: one page, large type, one row an action.
var doorSheet = template.Must(template.New("door").Parse(`<!doctype html>
<html lang="{{.Lang}}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Title}}</title>
<style>
@page { size: auto; margin: 12mm; }
body { font: {{.Size}}pt/1.2 system-ui, sans-serif; color: #000; background: #fff; margin: 1rem auto; max-width: 48rem; padding: 0 1rem; }
h1 { font-size: 1.3em; margin: 0 0 .5em; }
table { border-collapse: collapse; width: 100%; }
th { text-align: left; font-size: .75em; }
td, th { border-bottom: 1px solid #555; padding: .12em .4em; vertical-align: top; }
td.t { white-space: nowrap; font-weight: 700; width: 1%; }
td.d { width: 2em; }
td.d span { display: inline-block; width: .9em; height: .9em; border: 2px solid #000; }
tr { break-inside: avoid; }
p { margin: .5em 0 0; }
p.help { font-weight: 700; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
</style>
</head>
<body>
<main>
<h1>{{.Title}}</h1>
<table>
<thead><tr><th scope="col">{{.Time}}</th><th scope="col">{{.Do}}</th><th scope="col">{{.Done}}</th></tr></thead>
<tbody>
{{range .Rows}}<tr><td class="t">{{.Clock}}</td><td>{{.What}}</td><td class="d"><span></span></td></tr>
{{end}}</tbody>
</table>
<p>{{.Totals}}</p>
<p class="help">{{.Help}}</p>
</main>
</body>
</html>
`))

// WriteDoorSheet writes the feed day as a one-page HTML sheet to print. The
// type gets smaller on full days, so that the day stays on one page.
func (p *Plan) WriteDoorSheet(w io.Writer, day journal.Day, lang string, say Phrases) error {
	at, ok := p.DayStart(day)
	if !ok {
		return fmt.Errorf("%q is not a date", day)
	}
	rows := p.rows(day, say)
	t := p.FeedDay(at).Totals
	o := p.orderAt(at.Unix())
	water := "?"
	if s := summaryOf(o, t); s.WaterML != nil {
		water = mlText(journal.ML(halfUp(t.WaterUL(), 1000)))
	}
	return doorSheet.Execute(w, map[string]any{
		"Lang": lang, "Size": doorType(len(rows)), "Rows": rows,
		"Title": say.Say("plan.for", map[string]string{"household": o.p.Household, "day": string(day)}),
		"Time":  say.Say("plan.time", nil), "Do": say.Say("plan.do", nil), "Done": say.Say("plan.done", nil),
		"Totals": say.Say("plan.totals", map[string]string{"volume": mlText(t.VolumeML), "water": water, "flush": mlText(t.FlushWaterML)}),
		"Help":   say.Say("plan.help", nil),
	})
}

// doorType returns the type size in points at which so many rows, with heading
// and foot, stay on one page of letter paper (about 700 pt of it): a row takes
// one and a half times its type, and in large type half of the rows take two lines.
func doorType(rows int) int {
	size := (700/(rows+7) - 1) * 2 / 3
	if size > 12 {
		size = max((700/(rows*3/2+8)-1)*2/3, 12)
	}
	return min(max(size, 6), 18)
}
