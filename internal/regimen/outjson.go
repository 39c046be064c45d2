package regimen

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"hearthline/internal/journal"
)

// jsonPrompt is a prompt as "plan --json" writes it, one a line.
type jsonPrompt struct {
	At   time.Time         `json:"at"`
	Day  journal.Day       `json:"day"`
	Acts []Act             `json:"acts"`
	Asks *Ask              `json:"asks,omitempty"`
	Wake bool              `json:"wake,omitempty"`
	Text map[string]string `json:"text"`
}

// WriteJSONLines writes the prompts of n feed days from day on as JSON Lines,
// one text a line, said in each of the household's languages.
func (p *Plan) WriteJSONLines(w io.Writer, day journal.Day, n int, say func(lang string) Phrases) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	for _, pr := range p.Prompts(day, n, Actual{}) {
		line := jsonPrompt{At: pr.At, Day: pr.Day, Acts: pr.Acts, Wake: pr.Wake, Text: map[string]string{}}
		if pr.Asks.Kind != AskNothing {
			line.Asks = &pr.Asks
		}
		for _, lang := range p.Languages(pr.At) {
			line.Text[lang] = p.Text(pr, say(lang))
		}
		if err := enc.Encode(line); err != nil {
			return err
		}
	}
	return nil
}

// Summary is what one feed day, or several, come to. What the order does not
// say (an energy density that nobody confirmed, a container's size) is null, never 0.
type Summary struct {
	Day              journal.Day  `json:"day,omitempty"`
	VolumeML         journal.ML   `json:"volume_ml"`
	EnergyKcal       *json.Number `json:"energy_kcal"`
	ProteinG         *json.Number `json:"protein_g"`
	FormulaWaterML   *json.Number `json:"formula_water_ml"`
	FlushWaterML     journal.ML   `json:"flush_water_ml"`
	WaterML          *json.Number `json:"water_ml"`
	Fills            int          `json:"fills"`
	ContainersOpened *int         `json:"containers_opened"` // nil: the container's size is not known
	Prompts          int          `json:"prompts"`
	Texts            int          `json:"texts"`
	NightTexts       int          `json:"night_texts"`
	Segments         int          `json:"segments"`
	Supply           *SupplyDay   `json:"supply,omitempty"`
}

// Report is what "plan --summary" writes: the sum of the feed days asked for,
// each of them, 30 days, and the estimates beside which a dietitian sets them.
type Report struct {
	Household string `json:"household"`
	Summary
	Days      []Summary  `json:"days"`
	Per30Days Thirty     `json:"per_30_days"`
	Estimates []Estimate `json:"estimates,omitempty"`
}

// Thirty is what 30 feed days come to.
type Thirty struct {
	Texts      int `json:"texts"`
	NightTexts int `json:"night_texts"`
	Segments   int `json:"segments"`
	Supplies30
}

// Estimate is a published estimate of a day's need: information for the
// dietitian, no advice to the family.
type Estimate struct {
	Of     string `json:"of"` // "energy_kcal" or "water_ml"
	By     string `json:"by"`
	Value  Milli  `json:"value"`
	Source string `json:"source"`
}

// Estimates returns the published estimates for the order in force at t.
func (p *Plan) Estimates(t time.Time) []Estimate {
	o := p.orderAt(t.Unix())
	var out []Estimate
	if w := o.p.WeightKg; w > 0 {
		if age := o.p.AgeDays(t); age < 0 || age >= o.lim.EstimateFromDays {
			hs, _ := HollidaySegar(w)
			src := "Holliday MA, Segar WE. Pediatrics 1957;19:823-832"
			out = append(out, Estimate{"energy_kcal", "holliday_segar", hs, src}, Estimate{"water_ml", "holliday_segar", hs, src})
		}
		if age := o.p.AgeDays(t); age < 0 || age >= 18*365 {
			out = append(out, Estimate{"water_ml", "ml_per_kg", o.lim.PerKg(w), o.lim.Sources["fluid_ml_per_kg"]})
		}
	}
	if k := o.p.Targets.EnergyKcal; k > 0 {
		out = append(out, Estimate{"water_ml", "ml_per_kcal", o.lim.PerKcal(k), o.lim.Sources["fluid_ml_per_kcal"]})
	}
	return out
}

// Report computes n feed days from day on.
func (p *Plan) Report(day journal.Day, n int, say func(lang string) Phrases) Report {
	start, _ := p.DayStart(day)
	o := p.orderAt(start.Unix())
	r := Report{Household: o.p.Household, Estimates: p.Estimates(start)}
	long := max(n, 30)
	texts := map[journal.Day]*Summary{}
	for _, pr := range p.Prompts(day, long, Actual{}) {
		s := texts[pr.Day]
		if s == nil {
			s = &Summary{}
			texts[pr.Day] = s
		}
		s.Texts++
		if p.Night(pr) {
			s.NightTexts++
		}
		if langs := p.Languages(pr.At); len(langs) > 0 {
			s.Segments += Segments(p.Text(pr, say(langs[0])))
		}
	}
	supplies := p.Supplies(start, long)
	var sum Totals
	opened := 0
	for i := range long {
		d := DayAfter(day, i)
		t := texts[d]
		if t == nil {
			t = &Summary{}
		}
		if i < 30 {
			r.Per30Days.Texts += t.Texts
			r.Per30Days.NightTexts += t.NightTexts
			r.Per30Days.Segments += t.Segments
		}
		if i >= n {
			continue
		}
		at, _ := p.DayStart(d)
		tot := p.FeedDay(at).Totals
		s := summaryOf(o, tot)
		s.Day = d
		s.Prompts, s.Texts, s.NightTexts, s.Segments = t.Texts, t.Texts, t.NightTexts, t.Segments
		if o.p.Formula.ContainerML > 0 {
			s.Supply, s.ContainersOpened = &supplies[i], &supplies[i].Opened
			opened += supplies[i].Opened
		}
		r.Days = append(r.Days, s)
		sum.add(tot)
		r.Prompts += s.Prompts
		r.Texts += s.Texts
		r.NightTexts += s.NightTexts
		r.Segments += s.Segments
	}
	all := summaryOf(o, sum)
	if o.p.Formula.ContainerML > 0 {
		all.ContainersOpened = &opened
	}
	all.Prompts, all.Texts, all.NightTexts, all.Segments = r.Prompts, r.Texts, r.NightTexts, r.Segments
	r.Summary = all
	r.Per30Days.Supplies30 = p.SuppliesFor30(start)
	return r
}

func (t *Totals) add(o Totals) {
	t.VolumeML += o.VolumeML
	t.EnergyMilliKcal += o.EnergyMilliKcal
	t.ProteinMicroG += o.ProteinMicroG
	t.FormulaWaterUL += o.FormulaWaterUL
	t.FlushWaterML += o.FlushWaterML
	t.Fills += o.Fills
	t.ShortML += o.ShortML
}

func summaryOf(o *order, t Totals) Summary {
	f := o.p.Formula
	s := Summary{VolumeML: t.VolumeML, FlushWaterML: t.FlushWaterML, Fills: t.Fills}
	if f.EnergyKcalPerML > 0 {
		s.EnergyKcal = exact(t.EnergyMilliKcal, 3)
	}
	if f.ProteinGPerL > 0 || f.WaterFraction > 0 {
		s.ProteinG = exact(t.ProteinMicroG, 6)
	}
	if f.WaterFraction > 0 {
		s.FormulaWaterML, s.WaterML = exact(t.FormulaWaterUL, 3), exact(t.WaterUL(), 3)
	}
	return s
}

// exact writes n / 10^places without loss.
func exact(n int64, places int) *json.Number {
	s := strconv.FormatInt(n, 10)
	if len(s) <= places {
		s = strings.Repeat("0", places+1-len(s)) + s
	}
	s = strings.TrimRight(s[:len(s)-places]+"."+s[len(s)-places:], "0")
	v := json.Number(strings.TrimSuffix(s, "."))
	return &v
}

// WriteJSON writes the report as one JSON object.
func (r Report) WriteJSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(r)
}

// countText writes a count that may not be known.
func countText[N int | journal.ML](n *N) string {
	if n == nil {
		return "not known"
	}
	return fmt.Sprint(*n)
}

// WriteText writes the report for reading.
func (r Report) WriteText(w io.Writer) error {
	num := func(n *json.Number) string {
		if n == nil {
			return "not known"
		}
		return n.String()
	}
	var b strings.Builder
	for _, s := range r.Days {
		fmt.Fprintf(&b, "%s  %d mL, %s kcal, protein %s g, water %s mL (formula %s + flushes %d), fills %d, containers %s, texts %d (night %d, segments %d)\n",
			s.Day, s.VolumeML, num(s.EnergyKcal), num(s.ProteinG), num(s.WaterML), num(s.FormulaWaterML), s.FlushWaterML,
			s.Fills, countText(s.ContainersOpened), s.Texts, s.NightTexts, s.Segments)
		if s.Supply != nil {
			fmt.Fprintf(&b, "            formula opened: %d from the day before, %d used, %d kept cold, %d thrown away (mL); bags %d\n",
				s.Supply.CarriedML, s.Supply.UsedML, s.Supply.KeptML, s.Supply.ThrownML, s.Supply.Bags)
		}
	}
	t := r.Per30Days
	fmt.Fprintf(&b, "30 days     texts %d (night %d, segments %d); containers %s, bags %d, syringes %d, thrown away %s mL\n",
		t.Texts, t.NightTexts, t.Segments, countText(t.Containers), t.Bags, t.Syringes, countText(t.ThrownML))
	for _, e := range r.Estimates {
		fmt.Fprintf(&b, "estimate    %s by %s: %s (%s); for the dietitian\n", e.Of, e.By, e.Value, e.Source)
	}
	_, err := io.WriteString(w, b.String())
	return err
}
