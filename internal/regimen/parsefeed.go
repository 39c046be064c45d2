package regimen

import (
	"fmt"
	"strings"

	"hearthline/internal/journal"
)

// readFeed reads one feed; of volume, rate and hours two are given.
func (r *reader) readFeed(v value) {
	m := v.mapping()
	if m == nil {
		return
	}
	r.at[v.path] = v
	f := FeedOrder{By: ByPump}
	if n, ok := r.need(m, "name", "a short name such as noon"); ok {
		f.Name, ok = n.text(24)
		if ok && strings.ContainsAny(f.Name, "/#{}|") {
			n.wrong(fmt.Sprintf("%q holds one of / # { } |", f.Name), "letters, digits and blanks")
		}
		for i, other := range r.p.Feeds {
			if ok && other.Name == f.Name {
				n.wrong(fmt.Sprintf("feeds[%d] is called %q as well", i, f.Name), "a name of its own; several times a day go into starts: [...]")
			}
		}
	}
	if s, ok := r.take(m, "start"); ok {
		if c, ok := s.clock(); ok {
			f.Starts = []Clock{c}
		}
	}
	if s, ok := r.take(m, "starts"); ok {
		if f.Starts != nil {
			s.wrong("start and starts are both given", "one of them")
		}
		for _, el := range s.list(24) {
			if c, ok := el.clock(); ok {
				f.Starts = append(f.Starts, c)
			}
		}
	}
	if _, a := m.fields["start"]; !a {
		if _, b := m.fields["starts"]; !b {
			m.wrong("no start", `start: "20:00", or starts: ["08:00", "12:00"]`)
		}
	}
	r.readAmounts(m, v, &f)
	if d, ok := r.take(m, "days"); ok {
		for _, el := range d.list(7) {
			s, _ := el.scalar()
			if day, ok := parseWeekday(s); ok {
				f.Days |= 1 << day
			} else {
				el.wrong("found "+el.what(), "mon, tue, wed, thu, fri, sat or sun")
			}
		}
		if f.Days == 0 {
			d.wrong("no days", "at least one, or leave the field out for every day")
		}
		if f.Days == everyDay {
			f.Days = 0
		}
	}
	if k, ok := r.take(m, "kind"); ok {
		s, _ := k.oneOf(string(Continuous), string(Cyclic), string(Intermittent), string(Bolus))
		f.Kind = FeedKind(s)
	}
	if b, ok := r.take(m, "by"); ok {
		s, _ := b.oneOf(string(ByPump), string(ByGravity), string(BySyringe))
		f.By = FeedBy(s)
	}
	if pt, ok := r.take(m, "port"); ok {
		s, _ := pt.oneOf(string(GastricPort), string(JejunalPort))
		f.Port = Port(s)
	}
	f.MustEndBy = r.clock(m, "must_end_by")
	f.Wake = r.flagPtr(m, "wake")
	m.done()
	if f.Kind == "" {
		f.Kind = kindOf(&f)
	}
	r.p.Feeds = append(r.p.Feeds, f)
}

// kindOf names a feed by its hours: round the clock is continuous, from four
// hours on cyclic, over half an hour intermittent, the rest a bolus. The bounds
// only name; no arithmetic depends on them but the refusal of a bolus into the
// jejunum, where a short feed by pump must be called what it is in the file.
func kindOf(f *FeedOrder) FeedKind {
	switch {
	case f.Hours >= 24_000:
		return Continuous
	case f.Hours >= 4_000:
		return Cyclic
	case f.Hours > 500:
		return Intermittent
	}
	return Bolus
}

// readAmounts reads two of volume, rate and hours and works out the third;
// given all three, they must agree to the millilitre.
func (r *reader) readAmounts(m *mapping, feed value, f *FeedOrder) {
	var vol, rate, hours bool
	if v, ok := r.take(m, "volume_ml"); ok {
		var n int64
		n, vol = v.whole(1, 10_000, "mL")
		f.VolumeML = journal.ML(n)
	}
	if v, ok := r.take(m, "rate_ml_per_h"); ok {
		// The upper bound is told by a sentence of its own in check.
		f.RateMLPerH, rate = v.decimal(100, 10_000_000, "mL/h")
	}
	if v, ok := r.take(m, "hours"); ok {
		f.Hours, hours = v.decimal(17, 24_000, "hours")
	}
	_, fv := m.fields["volume_ml"]
	_, fr := m.fields["rate_ml_per_h"]
	_, fh := m.fields["hours"]
	switch {
	case fv && fr && fh && vol && rate && hours:
		made := halfUp(int64(f.RateMLPerH)*int64(f.Hours), 1_000_000)
		if made != int64(f.VolumeML) {
			feed.wrong(fmt.Sprintf("%s mL/h for %s h give %d mL, but volume_ml is %d", f.RateMLPerH, f.Hours, made, f.VolumeML), "two of volume_ml, rate_ml_per_h, hours, or three that agree")
		}
		f.Given = [2]string{"volume_ml", "rate_ml_per_h"}
	case fv && fr && !fh && vol && rate:
		// Minutes are what a family can act on; the hours are kept to the thousandth for show.
		f.Hours = Milli(halfUp(int64(f.VolumeML)*1_000_000, int64(f.RateMLPerH)))
		f.Given = [2]string{"volume_ml", "rate_ml_per_h"}
		if f.Hours > 24_000 {
			feed.wrong(fmt.Sprintf("%d mL at %s mL/h take %s h", f.VolumeML, f.RateMLPerH, f.Hours), fmt.Sprintf("at most %d mL in a day at that rate", int64(f.RateMLPerH)*24/1000))
		}
	case fv && fh && !fr && vol && hours:
		f.RateMLPerH = Milli(halfUp(int64(f.VolumeML)*1_000_000, int64(f.Hours)))
		f.Given = [2]string{"volume_ml", "hours"}
		if f.RateMLPerH%1000 != 0 {
			r.at[feed.path] = feed
			r.warn(feed.path, "%d mL in %s h is %s mL/h, which no whole pump setting gives: the prescriber must say which rate is set; nothing was rounded.",
				f.VolumeML, f.Hours, f.RateMLPerH)
		}
	case fr && fh && !fv && rate && hours:
		exact := int64(f.RateMLPerH) * int64(f.Hours)
		f.VolumeML = journal.ML(halfUp(exact, 1_000_000))
		f.Given = [2]string{"rate_ml_per_h", "hours"}
		if exact%1_000_000 != 0 {
			r.warn(feed.path, "%s mL/h for %s h is not a whole number of mL; %d mL is counted.", f.RateMLPerH, f.Hours, f.VolumeML)
		}
		if f.VolumeML < 1 {
			feed.wrong("the feed comes to less than 1 mL", "at least 1 mL")
		}
	case btoi(fv)+btoi(fr)+btoi(fh) < 2:
		feed.wrong("of volume_ml, rate_ml_per_h and hours fewer than two are given", "two of them")
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (r *reader) readFlush(m *mapping) {
	if m == nil {
		return
	}
	f := &r.p.Flush
	f.BeforeML = r.ml(m, "before_ml", 0, 500)
	f.AfterML = r.ml(m, "after_ml", 0, 500)
	if v, ok := r.take(m, "every_h"); ok {
		f.EveryH, _ = v.decimal(500, 24_000, "hours")
	}
	f.EveryML = r.ml(m, "every_ml", 1, 500)
	if (f.EveryH == 0) != (f.EveryML == 0) {
		m.wrong("every_h and every_ml belong together, and one is missing", "both or neither")
	}
	if v, ok := r.take(m, "medication"); ok {
		for _, el := range v.list(24) {
			mm := el.mapping()
			if mm == nil {
				continue
			}
			var med Medication
			if c, ok := r.need(mm, "at", `"08:00"`); ok {
				med.At, _ = c.clock()
			}
			if c, ok := r.need(mm, "medicines", "how many medicines"); ok {
				n, _ := c.whole(1, 30, "medicines")
				med.Medicines = int(n)
			}
			mm.done()
			for _, other := range f.Medication {
				if other.At == med.At {
					el.wrong("two entries at "+med.At.String(), "one, with all the medicines of that time")
				}
			}
			f.Medication = append(f.Medication, med)
		}
	}
	f.MedicationML = r.ml(m, "medication_ml", 1, 500)
	if len(f.Medication) > 0 && f.MedicationML == 0 {
		m.wrong("medication is given, medication_ml is missing", "the mL of water before, between and after each medicine")
	}
	if v, ok := r.take(m, "ports"); ok {
		for _, el := range v.list(2) {
			r.readPortFlush(el)
		}
	}
	m.done()
}

func (r *reader) readPortFlush(el value) {
	m := el.mapping()
	if m == nil {
		return
	}
	var pf PortFlush
	if c, ok := r.need(m, "port", "gastric or jejunal"); ok {
		s, _ := c.oneOf(string(GastricPort), string(JejunalPort))
		pf.Port = Port(s)
	}
	pf.ML = r.ml(m, "ml", 1, 500)
	if pf.ML == 0 {
		m.wrong("ml is missing", "the mL of water")
	}
	if c, ok := r.need(m, "at", `["08:00", "20:00"]`); ok {
		for _, t := range c.list(12) {
			if k, ok := t.clock(); ok {
				pf.At = append(pf.At, k)
			}
		}
	}
	m.done()
	r.p.Flush.Ports = append(r.p.Flush.Ports, pf)
}
