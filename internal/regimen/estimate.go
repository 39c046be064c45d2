package regimen

import "fmt"

// HollidaySegar returns the estimate of a day's need by weight, in thousandths
// of a kcal and, being equal, of a mL of water: 100 per kg up to 10 kg, 50 per
// kg from there to 20, 20 per kg above. ok is false without a weight. It is not
// meant for the first 14 days of life.
//
// Source: Holliday MA, Segar WE. Pediatrics 1957;19:823-832.
func HollidaySegar(weight Milli) (est Milli, ok bool) {
	if weight <= 0 {
		return 0, false
	}
	w := int64(weight) // thousandths of a kg; times per-kg is thousandths
	switch {
	case w <= 10_000:
		return Milli(w * 100), true
	case w <= 20_000:
		return Milli(1_000_000 + (w-10_000)*50), true
	}
	return Milli(1_500_000 + (w-20_000)*20), true
}

// PerKg returns the fluid estimate by weight alone, mL per kg from limits.yaml.
func (l *Limits) PerKg(weight Milli) Milli {
	return Milli(halfUp(int64(weight)*int64(l.FluidPerKg), 1000))
}

// PerKcal returns the fluid estimate by energy, mL per kcal from limits.yaml.
func (l *Limits) PerKcal(kcal Milli) Milli {
	return Milli(halfUp(int64(kcal)*int64(l.FluidPerKcal), 1000))
}

// CompareOrders returns what a second person must confirm when next replaces
// old: a feed's rate or volume that changes by more than the limit allows.
func CompareOrders(old, next *Prescription, lim *Limits) []Warning {
	var out []Warning
	for i := range next.Feeds {
		n := &next.Feeds[i]
		for j := range old.Feeds {
			o := &old.Feeds[j]
			if o.Name != n.Name {
				continue
			}
			if changedTooFar(int64(o.RateMLPerH), int64(n.RateMLPerH), lim) {
				out = append(out, Warning{Line: 1, Col: 1, Field: fmt.Sprintf("feeds[%d].rate_ml_per_h", i),
					Text: fmt.Sprintf("The rate of %q changes from %s to %s mL/h.", n.Name, o.RateMLPerH, n.RateMLPerH)})
			}
			if changedTooFar(int64(o.VolumeML), int64(n.VolumeML), lim) {
				out = append(out, Warning{Line: 1, Col: 1, Field: fmt.Sprintf("feeds[%d].volume_ml", i),
					Text: fmt.Sprintf("The volume of %q changes from %d to %d mL.", n.Name, o.VolumeML, n.VolumeML)})
			}
		}
	}
	return out
}

func changedTooFar(was, now int64, lim *Limits) bool {
	diff := now - was
	if diff < 0 {
		diff = -diff
	}
	return diff*1000 > was*int64(lim.ChangeConfirm)
}

// NeedsReview reports whether feed must not simply start again after so many
// days of little or no feed: nurse and dietitian are asked first.
func (l *Limits) NeedsReview(daysWithout int64) bool { return daysWithout > l.RestartDays }
