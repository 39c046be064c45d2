package regimen

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // zones must resolve alike on every machine

	"hearthline/internal/journal"
)

var (
	codePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,39}$`)
	langPattern = regexp.MustCompile(`^[a-z]{2}(-[A-Z]{2})?$`)
)

// Parse reads one regimen file. On any error nothing is returned but the error,
// a [Problems] that names every fault with its place and what would be right.
// The warnings are what a second person must confirm before a household runs on it.
//
// Checks that need today's date (a tube placed in the future, an old weight)
// are left out; see [ParseOn].
func Parse(file string, src []byte, lim *Limits) (*Prescription, []Warning, error) {
	return ParseOn(file, src, lim, time.Time{})
}

// ParseOn is Parse with the checks that need to know what day it is.
func ParseOn(file string, src []byte, lim *Limits, today time.Time) (*Prescription, []Warning, error) {
	d, top := parseYAML(file, src)
	if top == nil {
		return nil, nil, d.probs.orNil()
	}
	r := &reader{lim: lim, top: top, d: d, today: today, at: map[string]value{}}
	r.readTop()
	top.done()
	if len(d.probs) == 0 {
		r.check()
	}
	if err := d.probs.orNil(); err != nil {
		return nil, nil, err
	}
	return &r.p, r.warnings, nil
}

// reader holds one file while it is read; at remembers where fields stand.
type reader struct {
	lim      *Limits
	d        *yamlDoc
	top      *mapping
	p        Prescription
	at       map[string]value
	today    time.Time // zero: not known
	warnings []Warning
}

// warn records a warning at the field, or at the top of the file where the field is absent.
func (r *reader) warn(field, format string, args ...any) *Warning {
	line, col := 1, 1
	if v, ok := r.at[field]; ok {
		line, col = v.pos()
	}
	r.warnings = append(r.warnings, Warning{File: r.d.file, Line: line, Col: col, Field: field, Text: fmt.Sprintf(format, args...)})
	return &r.warnings[len(r.warnings)-1]
}

// wrong records an error at the field.
func (r *reader) wrong(field, wrong, right string) {
	if v, ok := r.at[field]; ok {
		v.path = field
		v.wrong(wrong, right)
		return
	}
	r.d.add(1, 1, field, wrong, right)
}

func (r *reader) take(m *mapping, name string) (value, bool) {
	v, ok := m.take(name)
	if ok {
		r.at[v.path] = v
	}
	return v, ok
}

func (r *reader) need(m *mapping, name, right string) (value, bool) {
	v, ok := m.need(name, right)
	if ok {
		r.at[v.path] = v
	}
	return v, ok
}

func (r *reader) readTop() {
	p, top := &r.p, r.top
	if v, ok := r.need(top, "household", "a code such as maple-17, never a name"); ok {
		p.Household = code(v)
	}
	if v, ok := r.need(top, "time_zone", "an IANA zone such as America/Chicago"); ok {
		p.TimeZone = zone(v)
	}
	if v, ok := r.need(top, "languages", "[en]"); ok {
		for _, el := range v.list(8) {
			s, ok := el.scalar()
			if !ok || !langPattern.MatchString(s) {
				el.wrong("found "+el.what(), "a language code such as en or es")
			} else if slices.Contains(p.Languages, s) {
				el.wrong("the language is given twice", "once")
			} else if have := r.lim.Languages; len(have) > 0 && !slices.Contains(have, s) {
				el.wrong(fmt.Sprintf("no texts are written in %q", s), "one of "+strings.Join(have, ", "))
			} else {
				p.Languages = append(p.Languages, s)
			}
		}
		if len(p.Languages) == 0 {
			v.wrong("no language", "at least one")
		}
	}
	if v, ok := r.take(top, "weight_kg"); ok {
		p.WeightKg, _ = v.decimal(300, 400_000, "kg")
	}
	if v, ok := r.take(top, "weight_on"); ok {
		p.WeightOn = date(v)
	}
	if v, ok := r.take(top, "birth_month"); ok {
		p.BirthMonth = month(v)
	}
	if v, ok := r.need(top, "tube", "{kind: ...}"); ok {
		r.readTube(v.mapping())
	}
	if v, ok := r.need(top, "formula", "{energy_kcal_per_ml: ..., ...}"); ok {
		r.readFormula(v.mapping())
	}
	if v, ok := r.need(top, "feed_day_starts", `"07:00"`); ok {
		p.FeedDayStarts, _ = v.clock()
	}
	if v, ok := r.need(top, "feeds", "a list of feeds"); ok {
		for _, el := range v.list(24) {
			r.readFeed(el)
		}
		if len(p.Feeds) == 0 {
			v.wrong("no feeds", "at least one")
		}
	}
	if v, ok := r.take(top, "flush"); ok {
		r.readFlush(v.mapping())
	}
	if v, ok := r.take(top, "bag"); ok {
		if m := v.mapping(); m != nil {
			if f, ok := r.take(m, "change_every_h"); ok {
				p.Bag.ChangeEveryH, _ = f.decimal(1000, 72_000, "hours")
			}
			p.Bag.CapacityML = r.ml(m, "capacity_ml", 50, 5000)
			m.done()
		}
	}
	if v, ok := r.take(top, "targets"); ok {
		if m := v.mapping(); m != nil {
			if f, ok := r.take(m, "energy_kcal"); ok {
				p.Targets.EnergyKcal, _ = f.decimal(1000, 10_000_000, "kcal")
			}
			if f, ok := r.take(m, "protein_g"); ok {
				p.Targets.ProteinG, _ = f.decimal(100, 500_000, "g")
			}
			p.Targets.WaterML = r.ml(m, "water_ml", 1, 10_000)
			m.done()
		}
	}
	if v, ok := r.take(top, "longest_gap_h"); ok {
		p.LongestGapH, _ = v.decimal(500, 48_000, "hours")
	}
	if v, ok := r.take(top, "if_feed_stops"); ok {
		p.IfFeedStops = code(v)
	}
	p.SugarLowering = r.flag(top, "sugar_lowering")
	p.MustEndBy = r.clock(top, "must_end_by")
	p.ByMouthFirst = r.flag(top, "by_mouth_first")
	r.readRest()
}

// readRest reads the optional blocks.
func (r *reader) readRest() {
	p, top := &r.p, r.top
	if v, ok := r.take(top, "placement_check"); ok {
		if m := v.mapping(); m != nil {
			p.PlacementCheck = &PlacementCheck{}
			if f, ok := r.take(m, "mark_cm"); ok {
				p.PlacementCheck.MarkCM, _ = f.decimal(500, 200_000, "cm")
			}
			if f, ok := r.take(m, "ph_max"); ok {
				p.PlacementCheck.PHMax, _ = f.decimal(1000, 7000, "pH")
			}
			m.done()
		}
	}
	if v, ok := r.take(top, "other_lines"); ok {
		for _, el := range v.list(8) {
			if c := code(el); c != "" {
				p.OtherLines = append(p.OtherLines, c)
			}
		}
	}
	if v, ok := r.take(top, "go_to"); ok {
		if m := v.mapping(); m != nil {
			p.GoTo = &GoTo{}
			if f, ok := r.need(m, "place", "where a lost tube is replaced"); ok {
				p.GoTo.Place, _ = f.text(80)
			}
			if f, ok := r.take(m, "travel_min"); ok {
				n, _ := f.whole(0, 1440, "minutes")
				p.GoTo.TravelMin = journal.Minutes(n)
			}
			m.done()
		}
	}
	if v, ok := r.take(top, "nurse_may"); ok {
		if m := v.mapping(); m != nil {
			p.NurseMay = &NurseMay{}
			if f, ok := r.take(m, "rate_ml_per_h"); ok {
				if b := f.list(2); len(b) == 2 {
					lo, ok1 := b[0].decimal(0, r.lim.RateRefuse, "mL/h")
					hi, ok2 := b[1].decimal(0, r.lim.RateRefuse, "mL/h")
					if ok1 && ok2 && lo > hi {
						f.wrong(fmt.Sprintf("the bounds %s and %s are the wrong way round", lo, hi), "[lowest, highest]")
					}
					p.NurseMay.RateMLPerH = &[2]Milli{lo, hi}
				} else {
					f.wrong("wants two bounds", "[lowest, highest] in mL/h")
				}
			}
			p.NurseMay.Hold = r.flag(m, "hold")
			m.done()
		}
	}
	if v, ok := r.take(top, "prompts"); ok {
		r.readPrompts(v.mapping())
	}
	if v, ok := r.take(top, "advance"); ok {
		r.readAdvance(v.mapping())
	}
}

func (r *reader) ml(m *mapping, name string, lo, hi int64) journal.ML {
	v, ok := r.take(m, name)
	if !ok {
		return 0
	}
	n, _ := v.whole(lo, hi, "mL")
	return journal.ML(n)
}

func (r *reader) flag(m *mapping, name string) bool {
	v, ok := r.take(m, name)
	if !ok {
		return false
	}
	b, _ := v.boolean()
	return b
}

func (r *reader) flagPtr(m *mapping, name string) *bool {
	v, ok := r.take(m, name)
	if !ok {
		return nil
	}
	b, ok := v.boolean()
	if !ok {
		return nil
	}
	return &b
}

func (r *reader) clock(m *mapping, name string) *Clock {
	v, ok := r.take(m, name)
	if !ok {
		return nil
	}
	c, ok := v.clock()
	if !ok {
		return nil
	}
	return &c
}

func code(v value) string {
	s, ok := v.scalar()
	if !ok || !codePattern.MatchString(s) {
		v.wrong("found "+v.what(), "a code of lower-case letters, digits, - and _, at most 40")
		return ""
	}
	return s
}

func zone(v value) string {
	s, ok := v.text(60)
	if !ok {
		return ""
	}
	// "" and "Local" load, but mean the machine's choice, not the family's.
	loc, err := time.LoadLocation(s)
	if err != nil || s == "Local" {
		v.wrong(fmt.Sprintf("%q is not a time zone", clip(s)), "an IANA name such as America/Chicago")
		return ""
	}
	return loc.String()
}

func date(v value) journal.Day {
	s, _ := v.scalar()
	if t, err := time.Parse("2006-01-02", s); err != nil || t.Year() < 1900 || t.Year() > 2200 {
		v.wrong("found "+v.what(), "a date such as 2026-05-02")
		return ""
	}
	return journal.Day(s)
}

func month(v value) string {
	s, _ := v.scalar()
	if t, err := time.Parse("2006-01", s); err != nil || t.Year() < 1900 || t.Year() > 2200 {
		v.wrong("found "+v.what(), "a month such as 2021-03")
		return ""
	}
	return s
}
