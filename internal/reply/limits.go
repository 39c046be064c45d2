package reply

import (
	"fmt"
	"strconv"
)

// Limits are the numbers that reading needs. They come from words/limits.yaml,
// each with its source.
type Limits struct {
	FeverC, FeverF     float64 // at or above is a fever
	LowSugar           float64 // mg/dL, below is low
	LowSugarMmol       float64 // mmol/L, below is low
	LowOxygen          float64 // per cent, below is trouble breathing
	ShortPercent       float64 // a feed under this is short
	OverPercent        float64 // a feed over this is over
	OzML, CupML, TspML float64
	TbspML             float64
	OldHours           float64 // a symptom that ended longer ago is past
}

var defaultLimits = Limits{}

// readLimits reads words/limits.yaml: each key has a value and its source.
func (c *compiler) readLimits(file string, data []byte) error {
	all, err := sections(file, data)
	if err != nil {
		return err
	}
	l := &c.l.limits
	fields := map[string]*float64{
		"fever_c": &l.FeverC, "fever_f": &l.FeverF, "low_sugar_mgdl": &l.LowSugar, "low_sugar_mmol": &l.LowSugarMmol,
		"low_oxygen_percent": &l.LowOxygen, "short_percent": &l.ShortPercent, "over_percent": &l.OverPercent,
		"oz_ml": &l.OzML, "cup_ml": &l.CupML, "tsp_ml": &l.TspML, "tbsp_ml": &l.TbspML, "old_hours": &l.OldHours,
	}
	for i := range all {
		s := &all[i]
		if s.key == "about" {
			continue
		}
		into, ok := fields[s.key]
		if !ok {
			return s.errorf(s.line, "no such limit")
		}
		source := ""
		for j := range s.under {
			switch u := &s.under[j]; u.key {
			case s.key + ".value":
				v, err := strconv.ParseFloat(u.text, 64)
				if err != nil || v <= 0 {
					return u.errorf(u.line, "%q: want a number above 0", u.text)
				}
				*into = v
			case s.key + ".source":
				source = u.text
			default:
				return u.errorf(u.line, "unknown key: want value and source")
			}
		}
		if *into == 0 || source == "" {
			return s.errorf(s.line, "want a value and its source")
		}
		delete(fields, s.key)
	}
	for key := range fields {
		return fmt.Errorf("%s: %s: is missing", file, key)
	}
	c.limits = true
	return nil
}
