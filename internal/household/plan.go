package household

import (
	"encoding/json"
	"fmt"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// CompilePlan compiles the prescriptions in force, oldest first, into one plan.
func CompilePlan(in []InForce, lim *regimen.Limits) (*regimen.Plan, error) {
	var c regimen.Course
	for i, each := range in {
		p := new(regimen.Prescription)
		if err := json.Unmarshal(each.Prescription, p); err != nil {
			return nil, fmt.Errorf("stored prescription: %w", err)
		}
		span := regimen.Span{From: each.From, Prescription: p, Why: regimen.WhyStart}
		if i > 0 {
			c.Spans[i-1].Until = each.From
			span.Why, span.CheckedBy, span.CheckedAt = regimen.WhyChange, each.CheckedBy, each.From
		}
		c.Spans = append(c.Spans, span)
	}
	return regimen.CompileCourse(&c, lim)
}

// openDay journals what the feed day that holds t prescribes, from from on.
func (d *decision) openDay(p *regimen.Plan, t, from time.Time) {
	day := p.FeedDay(t)
	f := p.FormulaAt(t)
	o := journal.DayOpened{Day: day.Day, Start: journal.At(day.Start), End: journal.At(day.End),
		Feeds: []journal.FeedDue{}, Formula: journal.Composition{
			EnergyKcalPerL: int64(f.EnergyKcalPerML), ProteinMgPerL: int64(f.ProteinGPerL), WaterMLPerL: int64(f.WaterFraction)}}
	for _, feed := range day.Feeds {
		if feed.Start.Before(from) {
			continue
		}
		o.Feeds = append(o.Feeds, journal.FeedDue{Occurrence: feed.Key, Feed: feed.Feed,
			Start: journal.At(feed.Start), End: journal.At(feed.End), ML: feed.ML})
	}
	for _, flush := range day.Flushes {
		if flush.At.Before(from) {
			continue
		}
		o.Flushes++
		o.FlushML += flush.ML
	}
	for _, at := range day.BagChanges {
		if !at.Before(from) {
			o.BagChanges++
		}
	}
	d.add(journal.Entry{Kind: journal.KindDayOpened, DayOpened: &o})
}
