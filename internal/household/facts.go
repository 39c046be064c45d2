package household

import (
	"encoding/json"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
)

func unmarshal(b json.RawMessage, v any) error { return json.Unmarshal(b, v) }

// prescription is the newest in force.
func (s State) prescription() (regimen.Prescription, bool) {
	var p regimen.Prescription
	if len(s.Regimens) == 0 {
		return p, false
	}
	return p, unmarshal(s.Regimens[len(s.Regimens)-1].Prescription, &p) == nil
}

// facts gathers what is known of the household. What is not known stays unknown.
func (d *decision) facts() protocol.Facts {
	var f protocol.Facts
	p, known := d.s.prescription()
	if !known {
		return f
	}
	local := d.now.In(d.zone())
	f.TubeKind = string(p.Tube.Kind)
	f.TaughtToReplace = p.Tube.TaughtToReplace
	f.OtherLines = len(p.OtherLines) > 0
	f.SugarLowering = p.SugarLowering
	if placed, err := time.ParseInLocation("2006-01-02", string(p.Tube.Placed), local.Location()); err == nil {
		days := int(local.Sub(placed).Hours() / 24)
		f.DaysSincePlacement = &days
	}
	if born, err := time.ParseInLocation("2006-01", p.BirthMonth, local.Location()); err == nil {
		// The month's last day counts: the younger age is the safer one.
		last := born.AddDate(0, 1, -1)
		months := (local.Year()-last.Year())*12 + int(local.Month()) - int(last.Month())
		if local.Day() < last.Day() {
			months--
		}
		months = max(0, months)
		f.AgeMonths = &months
	}
	if p.LongestGapH > 0 {
		h := float64(p.LongestGapH) / 1000
		f.LongestGapH = &h
	}
	since := d.at() - journal.Millis(24*time.Hour.Milliseconds())
	var prescribed, given journal.ML
	for _, day := range d.s.Days {
		for _, feed := range day.Feeds {
			if feed.Start < since || feed.Start > d.at() {
				continue
			}
			prescribed += feed.ML
			if feed.Fate == "reported" {
				given += feed.GivenML
			}
		}
	}
	f.FedLast24h = given
	if prescribed > 0 && d.reportedAll(since) {
		percent := int(journal.HalfUp(100*int64(given), int64(prescribed)))
		f.FedPercent24h = &percent
	}
	return f
}

// reportedAll says whether every feed that began since then was reported:
// otherwise a share of what was prescribed is not known.
func (d *decision) reportedAll(since journal.Millis) bool {
	for _, day := range d.s.Days {
		for _, feed := range day.Feeds {
			if feed.Start >= since && feed.End <= d.at() && feed.Fate != "reported" {
				return false
			}
		}
	}
	return true
}
