package fhir

import (
	"fmt"
	"math/big"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// step is an administration at a rate, from an instant on.
type step struct {
	at   time.Time
	rate *big.Rat // mL/h
	path string
}

func (r *reader) readAdministrations(ef *r4.NutritionOrderEnteralFormula) {
	limit, haveLimit := r.volume(ef.MaxVolumeToDeliver, "enteralFormula.maxVolumeToDeliver", "d")
	var steps []step
	for i := range ef.Administration {
		a := &ef.Administration[i]
		path := fmt.Sprintf("enteralFormula.administration[%d]", i)
		start, ok := r.start(a, path)
		if !ok && a.Quantity == nil {
			continue
		}
		if a.RateRatio != nil {
			r.find(path+".rateRatio", true, "a rate as a ratio is not read; rateQuantity in mL/h")
			continue
		}
		if a.RateQuantity != nil && a.Quantity == nil {
			if v, ok := r.volume(a.RateQuantity, path+".rateQuantity", "h"); ok {
				steps = append(steps, step{start, v, path})
			}
			continue
		}
		if a.Quantity == nil {
			r.find(path, true, "neither quantity nor rateQuantity")
			continue
		}
		r.bolus(a, path, start, limit, haveLimit)
	}
	if len(ef.Administration) == 0 {
		r.find("enteralFormula", true, "no administration: neither when nor how much")
	}
	if len(steps) > 0 {
		r.rateSteps(ef, steps, limit, haveLimit)
	}
}

// start returns when an administration begins.
func (r *reader) start(a *r4.NutritionOrderEnteralFormulaAdministration, path string) (time.Time, bool) {
	if a.Schedule == nil || a.Schedule.Repeat == nil || a.Schedule.Repeat.BoundsPeriod == nil || a.Schedule.Repeat.BoundsPeriod.Start == nil {
		r.find(path, true, "no schedule.repeat.boundsPeriod.start: when it begins is not said")
		return time.Time{}, false
	}
	at := path + ".schedule.repeat.boundsPeriod.start"
	r.use(at)
	s := *a.Schedule.Repeat.BoundsPeriod.Start
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t.In(r.zone), true
	}
	if t, err := time.ParseInLocation("2006-01-02", s, r.zone); err == nil {
		r.find(at, true, "%s has no time of day: when it begins is not said", s)
		return t, false
	}
	r.find(at, true, "%q is not a date and time", s)
	return time.Time{}, false
}

// bolus reads a volume that repeats every so many hours.
func (r *reader) bolus(a *r4.NutritionOrderEnteralFormulaAdministration, path string, start time.Time, limit *big.Rat, haveLimit bool) {
	vol, ok := r.volume(a.Quantity, path+".quantity", "")
	if !ok {
		return
	}
	if a.Schedule == nil || a.Schedule.Repeat == nil {
		return // said already, by start
	}
	rep := a.Schedule.Repeat
	at := path + ".schedule.repeat"
	if rep.Period == nil || str(rep.PeriodUnit) != "h" || (rep.Frequency != nil && *rep.Frequency != 1) {
		r.find(at, true, "the schedule is not \"once every so many hours\"; another pattern is to be entered by hand")
		return
	}
	for _, s := range []string{".frequency", ".period", ".periodUnit"} {
		r.use(at + s)
	}
	every, err := strconv.Atoi(rep.Period.String())
	if err != nil || every < 1 || every > 24 || 24%every != 0 {
		r.find(at+".period", true, "every %s h does not come out even in a day: the times of day are to be entered by hand", rep.Period)
		return
	}
	n := 24 / every
	total := new(big.Rat).Mul(vol, big.NewRat(int64(n), 1))
	if haveLimit && total.Cmp(limit) != 0 {
		r.find(path, total.Cmp(limit) > 0, "%d feeds of %s mL are %s mL a day, but maxVolumeToDeliver is %s mL a day: %s mL apart",
			n, decimal(vol, 3), decimal(total, 3), decimal(limit, 3), decimal(new(big.Rat).Abs(new(big.Rat).Sub(total, limit)), 3))
	}
	if !vol.IsInt() {
		r.find(path+".quantity", true, "%s mL is not a whole number of mL: a person must say how much is given", decimal(vol, 4))
		return
	}
	ml := journal.ML(vol.Num().Int64())
	f := regimen.FeedOrder{Name: "bolus", VolumeML: ml, Kind: regimen.Bolus, By: regimen.ByGravity, Given: [2]string{"volume_ml", "hours"}, Hours: 500, RateMLPerH: regimen.Milli(ml * 2000)}
	if a.RateQuantity != nil {
		if v, ok := r.volume(a.RateQuantity, path+".rateQuantity", "h"); ok {
			f.By, f.Given = regimen.ByPump, [2]string{"volume_ml", "rate_ml_per_h"}
			f.RateMLPerH = milli(v)
			f.Hours = milli(new(big.Rat).Quo(vol, v))
		}
	} else {
		r.find(path, false, "how long a feed of %d mL takes is not said; 30 min are assumed for its texts, and that no pump gives it", ml)
	}
	first := start.Hour()*60 + start.Minute()
	for k := range n {
		f.Starts = append(f.Starts, regimen.Clock((first+k*every*60)%1440))
	}
	r.p.FeedDayStarts = regimen.Clock(first)
	r.p.Feeds = append(r.p.Feeds, f)
	r.d.Starts = journal.DayOf(start)
}

var (
	holdWords    = regexp.MustCompile(`(?i)hold[a-z ]*\bfrom (\d{1,2})(?::(\d\d))? ?([ap])\.?m\.? to (\d{1,2})(?::(\d\d))? ?([ap])\.?m`)
	densityWords = regexp.MustCompile(`(?i)(\d+(?:\.\d+)?) ?k?cal(?:ories)?/(ml|oz)`)
)

// rateSteps says what the rates come to. An order has no field for the end of a
// rate step, so that a schedule can never be drawn from rate steps alone.
func (r *reader) rateSteps(ef *r4.NutritionOrderEnteralFormula, steps []step, limit *big.Rat, haveLimit bool) {
	sort.SliceStable(steps, func(i, j int) bool { return steps[i].at.Before(steps[j].at) })
	r.d.Starts = journal.DayOf(steps[0].at)
	end, held := r.holdStart(ef, steps[len(steps)-1].at)
	const path = "enteralFormula.administration"
	if !held {
		r.find(path, true, "the rate of %s mL/h from %s on has no end, and none can be read from the order", decimal(steps[len(steps)-1].rate, 3), local(steps[len(steps)-1].at))
		return
	}
	total := new(big.Rat)
	var parts []string
	var full time.Time
	for i, s := range steps {
		until := end
		if i+1 < len(steps) {
			until = steps[i+1].at
		}
		ml := new(big.Rat).Mul(s.rate, big.NewRat(int64(until.Sub(s.at)/time.Second), 3600))
		next := new(big.Rat).Add(total, ml)
		if haveLimit && full.IsZero() && next.Cmp(limit) >= 0 {
			sec := new(big.Rat).Mul(new(big.Rat).Quo(new(big.Rat).Sub(limit, total), s.rate), big.NewRat(3600, 1))
			f, _ := sec.Float64()
			full = s.at.Add(time.Duration(f) * time.Second)
		}
		total = next
		parts = append(parts, fmt.Sprintf("%s (%s mL/h)", decimal(ml, 3), decimal(s.rate, 3)))
	}
	sum := fmt.Sprintf("the rate steps come to %s = %s mL if the feed is held from %s, as only the free text says", strings.Join(parts, " + "), decimal(total, 3), clock(end))
	switch {
	case !haveLimit:
		r.find(path, true, "%s", sum)
	case total.Cmp(limit) > 0:
		r.find(path, true, "%s, but maxVolumeToDeliver is %s mL: %s mL apart; at these rates %s mL are in at %s", sum, decimal(limit, 3),
			decimal(new(big.Rat).Sub(total, limit), 3), decimal(limit, 3), clock(full))
	default:
		r.find(path, true, "%s; maxVolumeToDeliver is %s mL", sum, decimal(limit, 3))
	}
}

// local writes an instant as the household's clock shows it, with the zone's name.
func local(t time.Time) string { return t.Format(time.RFC3339) + " (" + t.Location().String() + ")" }

// clock is local without the date.
func clock(t time.Time) string { return t.Format("15:04Z07:00") + " (" + t.Location().String() + ")" }

// holdStart reads, for comparison only, when the free text holds the feed.
func (r *reader) holdStart(ef *r4.NutritionOrderEnteralFormula, last time.Time) (time.Time, bool) {
	m := holdWords.FindStringSubmatch(str(ef.AdministrationInstruction))
	if m == nil {
		return time.Time{}, false
	}
	h, _ := strconv.Atoi(m[1])
	min, _ := strconv.Atoi(m[2])
	if h %= 12; strings.EqualFold(m[3], "p") {
		h += 12
	}
	y, mo, d := last.Date()
	t := regimen.Instant(r.zone, y, mo, d, h*60+min)
	if !t.After(last) {
		t = regimen.Instant(r.zone, y, mo, d+1, h*60+min)
	}
	return t, true
}

// readInstruction says what the free text holds; it is never read as an order.
func (r *reader) readInstruction(ef *r4.NutritionOrderEnteralFormula) {
	text := strings.TrimSpace(str(ef.AdministrationInstruction))
	if text == "" {
		return
	}
	const path = "enteralFormula.administrationInstruction"
	r.use(path)
	r.find(path, false, "free text, to be read by a person and not read as an order: %q", text)
	if holdWords.MatchString(text) {
		r.find(path, true, "a hold of the feed is in the free text only; the schedule does not have it")
	}
	if ef.CaloricDensity == nil || ef.CaloricDensity.Value == nil {
		return
	}
	have, ok := rat(*ef.CaloricDensity.Value)
	if !ok {
		return
	}
	for _, m := range densityWords.FindAllStringSubmatch(text, -1) {
		if v, ok := new(big.Rat).SetString(m[1]); ok && v.Cmp(have) != 0 {
			r.find(path, true, "the free text speaks of %s cal/%s, caloricDensity is %s %s", m[1], m[2], ef.CaloricDensity.Value, str(ef.CaloricDensity.Unit))
		}
	}
}
