package regimen

import (
	"fmt"
	"time"

	"hearthline/internal/journal"
)

// Limits are the numbers that a clinician sets for all households: how long
// formula may hang, what is plausible, how many texts a family will bear. They
// come from flows/limits.yaml; each carries its source.
type Limits struct {
	Hang []HangRow

	SetH             Milli // longest use of one bag and set, hours
	KeepOpenedH      Milli // opened formula, refrigerated, hours
	RateConfirm      Milli // mL/h; above it a person must accept
	RateRefuse       Milli // mL/h; above it no home pump goes
	FlushMaxML       journal.ML
	FlushApart       journal.Minutes // two flushes within it are one
	EstimateHigh     Milli           // fraction of the estimate above which a day is confirmed
	EstimateLow      Milli
	ChangeConfirm    Milli // fraction of change in rate or volume that is confirmed
	WeightInfantDays int64
	WeightChildDays  int64
	EstimateFromDays int64 // Holliday-Segar is not used below this age
	AdvanceMaxStep   Milli // mL/h
	RestartDays      int64
	MergeMin         journal.Minutes
	PromptsPerDay    int
	PromptsPerDayNew int
	NewDays          int64
	LiftDays         int64
	OneTextUpTo      journal.Minutes // a feed no longer than this has one text, not two
	QuietFrom        Clock
	QuietUntil       Clock
	CheckinAt        Clock
	DefaultLevel     Level
	PauseCheckin     journal.Minutes
	SyringesPer30    int64
	FluidPerKg       Milli // mL per kg a day, adult estimate
	FluidPerKcal     Milli // mL per kcal
	// Languages are those in which texts are written, such as "en"; a regimen
	// that names another is refused. Empty where the file does not say.
	Languages     []string
	Sources       map[string]string
	DigestVersion string // the file's own version
}

// HangRow is one row of the hang-time table; the first row that matches decides.
// Empty fields match everything.
type HangRow struct {
	Prepared    Prepared
	System      System
	UnderMonths int // matches below this age, and where the age is not known
	Hours       Milli
	Source      string
}

// ParseLimits reads flows/limits.yaml. Every value has a source and a range;
// nothing has a silent default. The error is a [Problems].
func ParseLimits(file string, src []byte) (*Limits, error) {
	d, top := parseYAML(file, src)
	lim := &Limits{Sources: map[string]string{}}
	if top == nil {
		return nil, d.probs.orNil()
	}
	if v, ok := top.need("version", `"2026-11"`); ok {
		lim.DigestVersion, _ = v.text(40)
	}
	if v, ok := top.take("languages"); ok {
		for _, el := range v.list(20) {
			if s, ok := el.scalar(); ok && langPattern.MatchString(s) {
				lim.Languages = append(lim.Languages, s)
			} else {
				el.wrong("found "+el.what(), "a language code such as en or es")
			}
		}
	}
	if v, ok := top.need("hang_time", "a list of rows"); ok {
		for _, row := range v.list(40) {
			lim.Hang = append(lim.Hang, parseHangRow(row))
		}
		if n := len(lim.Hang); n > 0 {
			if last := lim.Hang[n-1]; last.Prepared != "" || last.System != "" || last.UnderMonths != 0 {
				v.wrong("no row matches everything", "a last row with hours and source only, the strictest")
			}
		}
	}
	dec := func(name string, into *Milli, lo, hi int64, unit string) {
		if v, ok := lim.entry(top, name); ok {
			*into, _ = v.decimal(Milli(lo*1000), Milli(hi*1000), unit)
		}
	}
	whole := func(name string, into *int64, lo, hi int64, unit string) {
		if v, ok := lim.entry(top, name); ok {
			*into, _ = v.whole(lo, hi, unit)
		}
	}
	clock := func(name string, into *Clock) {
		if v, ok := lim.entry(top, name); ok {
			*into, _ = v.clock()
		}
	}
	dec("bag_and_set_h", &lim.SetH, 1, 72, "hours")
	dec("keep_opened_h", &lim.KeepOpenedH, 0, 72, "hours")
	dec("rate_confirm_ml_per_h", &lim.RateConfirm, 1, 2000, "mL/h")
	dec("rate_refuse_ml_per_h", &lim.RateRefuse, 1, 2000, "mL/h")
	dec("estimate_high", &lim.EstimateHigh, 1, 10, "of the estimate")
	dec("estimate_low", &lim.EstimateLow, 0, 1, "of the estimate")
	dec("change_confirm", &lim.ChangeConfirm, 0, 1, "of the old value")
	dec("advance_max_step_ml_per_h", &lim.AdvanceMaxStep, 1, 200, "mL/h")
	dec("fluid_ml_per_kg", &lim.FluidPerKg, 1, 200, "mL/kg")
	dec("fluid_ml_per_kcal", &lim.FluidPerKcal, 0, 10, "mL/kcal")
	var flushMax, apart, merge, perDay, perDayNew, oneText, pause int64
	whole("flush_max_ml", &flushMax, 1, 500, "mL")
	whole("flush_apart_min", &apart, 0, 60, "minutes")
	whole("weight_infant_days", &lim.WeightInfantDays, 1, 365, "days")
	whole("weight_child_days", &lim.WeightChildDays, 1, 365, "days")
	whole("estimate_from_days", &lim.EstimateFromDays, 0, 365, "days")
	whole("restart_days", &lim.RestartDays, 1, 60, "days")
	whole("merge_min", &merge, 0, 60, "minutes")
	whole("prompts_per_day", &perDay, 1, 48, "prompts")
	whole("prompts_per_day_new", &perDayNew, 1, 48, "prompts")
	whole("new_days", &lim.NewDays, 0, 90, "days")
	whole("lift_days", &lim.LiftDays, 0, 30, "days")
	whole("one_text_up_to_min", &oneText, 0, 240, "minutes")
	whole("pause_checkin_min", &pause, 1, 720, "minutes")
	whole("syringes_per_30_days", &lim.SyringesPer30, 0, 1000, "syringes")
	clock("quiet_from", &lim.QuietFrom)
	clock("quiet_until", &lim.QuietUntil)
	clock("checkin_at", &lim.CheckinAt)
	if v, ok := lim.entry(top, "level"); ok {
		s, _ := v.oneOf(string(EachStep), string(EachFeed), string(Evening))
		lim.DefaultLevel = Level(s)
	}
	top.done()
	lim.FlushMaxML, lim.FlushApart = journal.ML(flushMax), journal.Minutes(apart)
	lim.MergeMin, lim.OneTextUpTo = journal.Minutes(merge), journal.Minutes(oneText)
	lim.PauseCheckin = journal.Minutes(pause)
	lim.PromptsPerDay, lim.PromptsPerDayNew = int(perDay), int(perDayNew)
	if lim.RateConfirm > lim.RateRefuse && len(d.probs) == 0 {
		top.wrong(fmt.Sprintf("rate_confirm_ml_per_h %s is above rate_refuse_ml_per_h %s", lim.RateConfirm, lim.RateRefuse), "at most the refused rate")
	}
	if err := d.probs.orNil(); err != nil {
		return nil, err
	}
	return lim, nil
}

// entry takes "name: {value: ..., source: ...}".
func (l *Limits) entry(top *mapping, name string) (value, bool) {
	v, ok := top.need(name, "{value: ..., source: ...}")
	if !ok {
		return value{}, false
	}
	m := v.mapping()
	if m == nil {
		return value{}, false
	}
	if s, ok := m.need("source", `where the number is from, or "common practice, no source"`); ok {
		l.Sources[name], _ = s.text(600)
	}
	val, ok := m.need("value", "the number")
	m.done()
	return val, ok
}

func parseHangRow(v value) HangRow {
	var r HangRow
	m := v.mapping()
	if m == nil {
		return r
	}
	if f, ok := m.take("prepared"); ok {
		s, _ := f.oneOf(string(ReadyToFeed), string(Powder), string(WithAdditives), string(Blenderized), string(HumanMilk))
		r.Prepared = Prepared(s)
	}
	if f, ok := m.take("system"); ok {
		s, _ := f.oneOf(string(OpenSystem), string(ClosedSystem))
		r.System = System(s)
	}
	if f, ok := m.take("under_months"); ok {
		n, _ := f.whole(1, 1200, "months")
		r.UnderMonths = int(n)
	}
	if f, ok := m.need("hours", "how long it may hang"); ok {
		r.Hours, _ = f.decimal(500, 72_000, "hours")
	}
	if f, ok := m.need("source", "where the number is from"); ok {
		r.Source, _ = f.text(600)
	}
	m.done()
	return r
}

// HangLimit returns how long one fill of the formula may hang at the age in
// months (below 0: not known, which counts as youngest), and where that is from.
// It is never longer than the bag and set may be used.
func (l *Limits) HangLimit(f FormulaOrder, ageMonths int) (time.Duration, string) {
	h, source := l.SetH, "bag and set"
	if f.HangH != 0 {
		h, source = f.HangH, "given in the regimen"
	} else {
		for _, r := range l.Hang {
			if (r.Prepared == "" || r.Prepared == f.Prepared) && (r.System == "" || r.System == f.System) &&
				(r.UnderMonths == 0 || ageMonths < r.UnderMonths) {
				h, source = r.Hours, r.Source
				break
			}
		}
	}
	return time.Duration(min(h, l.SetH)) * (time.Hour / 1000), source
}
