package regimen

import (
	"time"

	"hearthline/internal/journal"
)

// SupplyDay is what a feed day uses up.
type SupplyDay struct {
	Day       journal.Day `json:"day"`
	Opened    int         `json:"containers_opened"`
	CarriedML journal.ML  `json:"carried_in_ml"` // opened formula kept from the day before
	UsedML    journal.ML  `json:"used_ml"`
	KeptML    journal.ML  `json:"kept_ml"`        // opened, refrigerated, carried on to the next day
	ThrownML  journal.ML  `json:"thrown_away_ml"` // opened and past the time it may be kept
	Bags      int         `json:"bags"`
}

// Balanced reports whether nothing got lost: what was carried in and opened was
// used, kept or thrown away.
func (s SupplyDay) Balanced(container journal.ML) bool {
	return s.CarriedML+journal.ML(s.Opened)*container == s.UsedML+s.KeptML+s.ThrownML
}

// Supplies30 is what 30 days use up. Containers and ThrownML are nil where the
// container's size is not known.
type Supplies30 struct {
	Containers *int        `json:"containers"`
	Bags       int         `json:"bags"`
	Syringes   int         `json:"syringes"`
	ThrownML   *journal.ML `json:"thrown_away_ml"`
}

// supplyEpoch is the Monday from which stocks are counted where an order has no first instant.
var supplyEpoch = dayIndexOf(2024, time.January, 1)

// Supplies counts n feed days from the one that holds t. Opened formula is kept
// refrigerated and used first, until it is too old to be poured. The count
// begins with an empty refrigerator at the order's first instant, or on
// 2024-01-01 where it has none, so that every call agrees with every other.
func (p *Plan) Supplies(t time.Time, n int) []SupplyDay {
	o := p.orderAt(t.Unix())
	d := o.dayAt(t.Unix())
	begin := min(supplyEpoch, d)
	if o.from > -forever {
		begin = o.dayAt(o.from)
	}
	keep := int64(hours(o.lim.KeepOpenedH) / time.Second)
	if o.p.Formula.KeepH > 0 {
		keep = int64(hours(o.p.Formula.KeepH) / time.Second)
	}
	st := stock{container: int64(o.p.Formula.ContainerML), keep: keep}
	out := make([]SupplyDay, 0, n)
	var zs zoneSpan
	var buf [maxOccs]occ
	for k := begin; k < d+dayIndex(n); k++ {
		f := o.frame(k, &zs)
		occs := f.occurrences(nil, buf[:0])
		s := st.day(&f, occs)
		if k >= d {
			out = append(out, s)
		}
	}
	return out
}

// stock is opened formula in the refrigerator.
type stock struct {
	container, keep int64
	left, openedAt  int64
}

func (st *stock) day(f *frame, occs []occ) SupplyDay {
	out := SupplyDay{Day: f.d.day()}
	st.expire(f.start, &out)
	out.ThrownML = 0 // what expired before the day began belongs to the day before
	out.CarriedML = journal.ML(st.left)
	b := f.o.band(f.d)
	for i := range occs {
		x := &occs[i]
		if x.s.pump && f.changesBag(occs, i, x.start, nil) {
			out.Bags++
		}
		fills := x.s.fills
		if fills == nil { // by syringe: poured as it is given
			st.pour(x.start, x.ml, &out)
			continue
		}
		whole := x.ml
		for j, fl := range fills[b] {
			ml := min(fl.ml, whole)
			if j == len(fills[b])-1 {
				ml = whole
			}
			if ml > 0 {
				st.pour(x.start+fl.off, ml, &out)
			}
			whole -= ml
			if j > 0 && f.changesBag(occs, i, x.start+fl.off, nil) {
				out.Bags++
			}
		}
	}
	// What will be too old before it can be poured tomorrow is thrown away tonight.
	st.expire(f.firstPourTomorrow(), &out)
	out.KeptML = journal.ML(st.left)
	return out
}

func (f *frame) firstPourTomorrow() int64 { return min(f.firstStartOfLaterDay(), f.end+7*day24h) }

func (st *stock) expire(now int64, out *SupplyDay) {
	if st.left > 0 && now-st.openedAt >= st.keep {
		out.ThrownML += journal.ML(st.left)
		st.left = 0
	}
}

func (st *stock) pour(now, ml int64, out *SupplyDay) {
	if st.container == 0 {
		return
	}
	st.expire(now, out)
	use := min(st.left, ml)
	st.left -= use
	if need := ml - use; need > 0 {
		n := (need + st.container - 1) / st.container
		out.Opened += int(n)
		st.left, st.openedAt = n*st.container-need, now
	}
	out.UsedML += journal.ML(ml)
}

// SuppliesFor30 adds up 30 feed days from the one that holds t.
func (p *Plan) SuppliesFor30(t time.Time) Supplies30 {
	o := p.orderAt(t.Unix())
	out := Supplies30{Syringes: int(o.lim.SyringesPer30)}
	containers, thrown := 0, journal.ML(0)
	for _, d := range p.Supplies(t, 30) {
		containers += d.Opened
		thrown += d.ThrownML
		out.Bags += d.Bags
	}
	if o.p.Formula.ContainerML > 0 {
		out.Containers, out.ThrownML = &containers, &thrown
	}
	return out
}
