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
	if d.s.Enrolled != 0 {
		f.DaysEnrolled = days(d.s.Enrolled, d.at())
	}
	if d.s.Returned != 0 {
		f.DaysSinceHospital = days(d.s.Returned, d.at())
	}
	f.Repeats24h, f.Repeats72h = d.repeats(24*time.Hour), d.repeats(72*time.Hour)
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
		f.GapLeftMin = d.gapLeft(h)
	}
	if p.GoTo != nil {
		f.TravelMin = p.GoTo.TravelMin
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

func days(from, to journal.Millis) *int {
	n := int(to.Time().Sub(from.Time()).Hours() / 24)
	return &n
}

// repeats counts the earlier texts with each symptom within a time.
func (d *decision) repeats(within time.Duration) map[string]int {
	out := map[string]int{}
	since := journal.At(d.now.Add(-within))
	for _, seen := range d.s.Seen {
		if seen.At >= since && seen.At < d.at() {
			out[seen.Code]++
		}
	}
	return out
}

// gapLeft is how many minutes are left of the longest time without feed,
// counted from when feed is last known to have run: the end of the newest feed
// that was reported given, or now if a feed runs whose start was reported.
// Where nothing is known of that, it is not known: nil.
func (d *decision) gapLeft(hours float64) *int {
	var last journal.Millis
	for _, day := range d.s.Days {
		for _, f := range day.Feeds {
			if f.Start > d.at() {
				continue
			}
			if f.Fate == "reported" && f.GivenML > 0 {
				last = max(last, min(f.End, d.at()))
			}
			if o, ok := d.s.Actual.Of(f.Occurrence); ok && o.Started != 0 && o.Stopped == 0 && o.PausedAt == 0 && f.End > d.at() {
				last = d.at()
			}
		}
	}
	if last == 0 {
		return nil
	}
	left := max(0, int(hours*60)-int((d.at()-last)/60_000))
	return &left
}
