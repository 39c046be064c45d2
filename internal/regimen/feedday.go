package regimen

import (
	"slices"
	"time"

	"hearthline/internal/journal"
)

// DayPlan is one feed day: everything prescribed in it, exact.
type DayPlan struct {
	Day        journal.Day  `json:"day"`
	Start      time.Time    `json:"start"`
	End        time.Time    `json:"end"`
	Feeds      []Occurrence `json:"feeds"`
	Flushes    []Act        `json:"flushes,omitempty"` // also the water around medicines
	BagChanges []time.Time  `json:"bag_changes,omitempty"`
	Totals     Totals       `json:"totals"`
}

// Totals of one feed day. Energy is in thousandths of a kcal, protein in
// millionths of a gram, formula water in thousandths of a mL, so that nothing
// is rounded before it is added up.
type Totals struct {
	VolumeML        journal.ML `json:"volume_ml"`
	EnergyMilliKcal int64      `json:"energy_milli_kcal"`
	ProteinMicroG   int64      `json:"protein_micro_g"`
	FormulaWaterUL  int64      `json:"formula_water_ul"`
	FlushWaterML    journal.ML `json:"flush_water_ml"`
	Fills           int        `json:"fills"`
	ShortML         journal.ML `json:"short_ml,omitempty"`
}

// WaterUL is all water of the day in thousandths of a mL.
func (t Totals) WaterUL() int64 { return t.FormulaWaterUL + int64(t.FlushWaterML)*1000 }

// FeedDay returns the feed day that holds t, as prescribed. In a pause it is an
// empty day.
func (p *Plan) FeedDay(t time.Time) DayPlan { return p.FeedDayAs(t, Actual{}) }

// FeedDayAs is FeedDay as it stands after what was reported.
func (p *Plan) FeedDayAs(t time.Time, now Actual) DayPlan {
	x := t.Unix()
	o := p.orderAt(x)
	var zs zoneSpan
	f := o.frame(o.dayAt(x), &zs)
	dp := DayPlan{Day: f.d.day(), Start: time.Unix(f.start, 0).In(o.loc), End: time.Unix(f.end, 0).In(o.loc)}
	var s scratch
	for _, k := range p.orders {
		if k.until <= f.start || k.from >= f.end {
			continue
		}
		// An order in another zone can have two feed days that touch this one.
		var ks zoneSpan
		for d := k.dayAt(max(f.start, k.from)) - 1; ; d++ {
			kf := k.frame(d, &ks)
			if kf.start >= f.end {
				break
			}
			if k.loc == o.loc && k.dayStart == o.dayStart && d != f.d {
				continue
			}
			dp.add(kf, &now, &s, f.start, f.end)
		}
	}
	return dp
}

// add adds what of a unit begins within [lo, hi).
func (dp *DayPlan) add(f frame, a *Actual, s *scratch, lo, hi int64) {
	o := f.o
	occs := f.occurrences(a, s.occs[0][:0])
	acts := f.acts(occs, a, EachStep, s.acts[0][:0])
	slices.SortStableFunc(acts, compareAct) // by their own time, not their text's
	c := o.composition()
	index := map[int16]int{}
	for i := range occs {
		x := &occs[i]
		if x.start < lo && x.plan < lo || x.plan >= hi {
			continue
		}
		index[int16(i)] = len(dp.Feeds)
		dp.Feeds = append(dp.Feeds, Occurrence{
			Key: x.s.key(x.d), Feed: x.s.feed.Name, Kind: x.s.feed.Kind,
			Start: time.Unix(x.start, 0).In(o.loc), End: time.Unix(x.end, 0).In(o.loc),
			ML: journal.ML(x.ml), ShortML: journal.ML(x.short), RateMLPerH: x.s.feed.RateMLPerH,
			Decide: x.decide, Carried: x.carried, Paused: x.openPause, Done: x.done,
		})
		ml := journal.ML(x.ml)
		dp.Totals.VolumeML += ml
		dp.Totals.ShortML += journal.ML(x.short)
		dp.Totals.EnergyMilliKcal += c.EnergyMilliKcal(ml)
		dp.Totals.ProteinMicroG += c.ProteinMicroG(ml)
		dp.Totals.FormulaWaterUL += c.WaterMicroL(ml)
	}
	for _, r := range acts {
		at := time.Unix(r.at, 0).In(o.loc)
		of, mine := index[r.x]
		if r.x >= 0 && !mine || r.x < 0 && (r.at < lo || r.at >= hi) {
			continue
		}
		switch r.kind.kind() {
		case ActFill:
			dp.Feeds[of].Fills = append(dp.Feeds[of].Fills, Fill{At: at, ML: journal.ML(r.ml)})
			dp.Totals.Fills++
		case ActBagChange:
			dp.BagChanges = append(dp.BagChanges, at)
		case ActFlush, ActMedication:
			act := Act{Kind: r.kind.kind(), At: at, ML: journal.ML(r.ml)}
			if r.x >= 0 {
				act.Feed, act.Occurrence = dp.Feeds[of].Feed, dp.Feeds[of].Key
			} else if r.kind == rankMedication {
				act.Medicines = int(r.n)
			}
			dp.Flushes = append(dp.Flushes, act)
			dp.Totals.FlushWaterML += journal.ML(r.ml)
		}
	}
}

// Occurrence is one feed of one day.
type Occurrence struct {
	Key        string     `json:"key"`
	Feed       string     `json:"feed"`
	Kind       FeedKind   `json:"kind"`
	Start      time.Time  `json:"start"`
	End        time.Time  `json:"end"`
	ML         journal.ML `json:"ml"`                 // to be delivered by End
	ShortML    journal.ML `json:"short_ml,omitempty"` // of the prescribed volume, known not to be delivered
	RateMLPerH Milli      `json:"rate_ml_per_h"`
	Fills      []Fill     `json:"fills,omitempty"`
	// Decide: after what was reported it can neither end in time nor run on.
	Decide bool `json:"decide,omitempty"`
	// Carried: goes on from the order before, which a change ended in mid-feed.
	Carried bool `json:"carried,omitempty"`
	// Paused: it stands still, so that its End is not known.
	Paused bool `json:"paused,omitempty"`
	Done   bool `json:"done,omitempty"`
}

// Fill is what is poured into the bag at one time.
type Fill struct {
	At time.Time  `json:"at"`
	ML journal.ML `json:"ml"`
}
