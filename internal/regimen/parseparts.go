package regimen

import (
	"hearthline/internal/journal"
)

func (r *reader) readTube(m *mapping) {
	if m == nil {
		return
	}
	t := &r.p.Tube
	if v, ok := r.need(m, "kind", "gastrostomy or another kind"); ok {
		s, _ := v.oneOf(string(Gastrostomy), string(LowProfile), string(Nasogastric), string(Nasojejunal), string(Jejunostomy), string(Gastrojejunostomy))
		t.Kind = TubeKind(s)
	}
	if v, ok := r.take(m, "placed"); ok {
		t.Placed = date(v)
	}
	if v, ok := r.take(m, "size_fr"); ok {
		t.SizeFr, _ = v.decimal(3000, 40_000, "Fr")
	}
	if v, ok := r.take(m, "mark_cm"); ok {
		t.MarkCM, _ = v.decimal(100, 200_000, "cm")
	}
	t.TaughtToReplace = r.flag(m, "taught_to_replace")
	m.done()
}

func (r *reader) readFormula(m *mapping) {
	if m == nil {
		return
	}
	f := &r.p.Formula
	if v, ok := r.need(m, "energy_kcal_per_ml", "as on the label"); ok {
		f.EnergyKcalPerML, _ = v.decimal(100, 4000, "kcal/mL")
	}
	if v, ok := r.need(m, "protein_g_per_l", "as on the label"); ok {
		f.ProteinGPerL, _ = v.decimal(0, 200_000, "g/L")
	}
	if v, ok := r.need(m, "water_fraction", "as on the label, 0.85 for 85 %"); ok {
		f.WaterFraction, _ = v.decimal(300, 1000, "mL of water per mL")
	}
	f.ContainerML = r.ml(m, "container_ml", 10, 5000)
	if v, ok := r.need(m, "system", "open or closed"); ok {
		s, _ := v.oneOf(string(OpenSystem), string(ClosedSystem))
		f.System = System(s)
	}
	if v, ok := r.need(m, "prepared", "ready_to_feed or another"); ok {
		s, _ := v.oneOf(string(ReadyToFeed), string(Powder), string(WithAdditives), string(Blenderized), string(HumanMilk))
		f.Prepared = Prepared(s)
	}
	if v, ok := r.take(m, "hang_h"); ok {
		f.HangH, _ = v.decimal(500, 48_000, "hours")
	}
	if v, ok := r.take(m, "keep_h"); ok {
		f.KeepH, _ = v.decimal(0, 72_000, "hours")
	}
	m.done()
}

func (r *reader) readPrompts(m *mapping) {
	if m == nil {
		return
	}
	o := &r.p.Prompts
	if v, ok := r.take(m, "level"); ok {
		s, _ := v.oneOf(string(EachStep), string(EachFeed), string(Evening))
		o.Level = Level(s)
	}
	if v, ok := r.take(m, "per_day"); ok {
		n, _ := v.whole(1, 48, "prompts")
		o.PerDay = int(n)
	}
	if v, ok := r.take(m, "merge_min"); ok {
		n, _ := v.whole(1, 60, "minutes")
		o.MergeMin = journal.Minutes(n)
	}
	if v, ok := r.take(m, "quiet"); ok {
		if q := v.mapping(); q != nil {
			o.Quiet = &Quiet{}
			if f, ok := r.need(q, "from", `"22:00"`); ok {
				o.Quiet.From, _ = f.clock()
			}
			if f, ok := r.need(q, "until", `"06:00"`); ok {
				o.Quiet.Until, _ = f.clock()
			}
			q.done()
		}
	}
	o.Wake = r.flagPtr(m, "wake")
	o.CheckinAt = r.clock(m, "checkin_at")
	m.done()
}

func (r *reader) readAdvance(m *mapping) {
	if m == nil {
		return
	}
	a := &Advance{}
	if v, ok := r.need(m, "feed", "the feed's name"); ok {
		a.Feed, _ = v.text(24)
	}
	if v, ok := r.need(m, "what", "rate_ml_per_h or volume_ml"); ok {
		a.What, _ = v.oneOf("rate_ml_per_h", "volume_ml")
	}
	if v, ok := r.need(m, "step", "mL or mL/h added each time"); ok {
		a.Step, _ = v.decimal(1000, 500_000, "mL or mL/h")
		if a.Step%1000 != 0 && a.What == "volume_ml" {
			v.wrong(a.Step.String()+" is not whole", "whole mL")
		}
	}
	if v, ok := r.need(m, "every_h", "hours between steps"); ok {
		a.EveryH, _ = v.decimal(1000, 240_000, "hours")
	}
	if v, ok := r.need(m, "goal", "mL or mL/h to reach"); ok {
		a.Goal, _ = v.decimal(1000, 5_000_000, "mL or mL/h")
		if a.Goal%1000 != 0 && a.What == "volume_ml" {
			v.wrong(a.Goal.String()+" is not whole", "whole mL")
		}
	}
	m.done()
	r.p.Advance = a
}
