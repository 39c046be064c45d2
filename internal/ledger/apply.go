package ledger

import "hearthline/internal/journal"

// KeepDays is how many feed days a state keeps at hand; older ones are in the journal.
const KeepDays = 31

// Apply folds one entry into the days, oldest first, and returns them. It
// keeps the newest KeepDays. Entries that are nothing to a ledger change
// nothing; entries of a day that is no longer kept are passed over.
func Apply(days []Day, e journal.Entry) []Day {
	switch e.Kind {
	case journal.KindDayOpened:
		return open(days, *e.DayOpened)
	case journal.KindDayClosed:
		return edit(days, e.DayClosed.Day, func(d *Day) { d.Closed = true })
	case journal.KindPrompted:
		if e.Prompted.Asks == "" {
			return days
		}
		return edit(days, e.Prompted.Day, func(d *Day) { d.Asked++ })
	case journal.KindNotAsked:
		n := e.NotAsked
		if n.Asks != "feed_end" {
			return days
		}
		return edit(days, n.Day, func(d *Day) {
			if f := d.feed(n.Occurrence); f != nil && f.Fate == NotReported {
				f.Fate = NotAsked
				if n.Why == "held" {
					f.Fate = Held
				}
			}
		})
	case journal.KindFed:
		return edit(days, e.Fed.Day, func(d *Day) {
			if f := d.feed(e.Fed.Occurrence); f != nil {
				f.Fate, f.GivenML = Reported, e.Fed.GivenML
			}
		})
	case journal.KindDone:
		return edit(days, e.Done.Day, func(d *Day) { d.done(*e.Done) })
	default:
		return days
	}
}

// Answered counts one more prompt of a day as answered. It is apart from Apply
// because whether a text settles a prompt for the first time is known to the state only.
func Answered(days []Day, which journal.Day) []Day {
	return edit(days, which, func(d *Day) { d.Answered++ })
}

func open(days []Day, o journal.DayOpened) []Day {
	day := Day{Day: o.Day, Start: o.Start, End: o.End, Formula: o.Formula, FlushML: o.FlushML,
		Flushes: Tally{Due: o.Flushes}, BagChanges: Tally{Due: o.BagChanges}}
	for _, f := range o.Feeds {
		day.Feeds = append(day.Feeds, Feed{Occurrence: f.Occurrence, Feed: f.Feed, Start: f.Start, End: f.End, ML: f.ML})
	}
	for i := range days {
		if days[i].Day == o.Day { // opened again under a changed regimen: what was reported stays
			out := clone(days)
			for _, old := range days[i].Feeds {
				if f := day.feed(old.Occurrence); f != nil {
					f.Fate, f.GivenML = old.Fate, old.GivenML
				} else if old.Fate == Reported {
					day.Feeds = append(day.Feeds, old)
				}
			}
			day.Flushes.Done, day.Flushes.NotDone = days[i].Flushes.Done, days[i].Flushes.NotDone
			day.BagChanges.Done, day.BagChanges.NotDone = days[i].BagChanges.Done, days[i].BagChanges.NotDone
			day.FlushGiven, day.Asked, day.Answered = days[i].FlushGiven, days[i].Asked, days[i].Answered
			out[i] = day
			return out
		}
	}
	out := append(clone(days), day)
	if len(out) > KeepDays {
		out = out[len(out)-KeepDays:]
	}
	return out
}

// edit changes a copy of one day: a caller may still hold the days it passed in.
func edit(days []Day, which journal.Day, change func(*Day)) []Day {
	for i := range days {
		if days[i].Day == which {
			out := clone(days)
			out[i].Feeds = append([]Feed(nil), days[i].Feeds...)
			change(&out[i])
			return out
		}
	}
	return days
}

func clone(days []Day) []Day { return append(make([]Day, 0, len(days)+1), days...) }

func (d *Day) feed(occurrence string) *Feed {
	for i := range d.Feeds {
		if d.Feeds[i].Occurrence == occurrence {
			return &d.Feeds[i]
		}
	}
	return nil
}

func (d *Day) done(e journal.Done) {
	tally := &d.Flushes
	switch e.What {
	case "flush":
		d.FlushGiven += e.ML
	case "bag_change":
		tally = &d.BagChanges
	default:
		return
	}
	if e.Done {
		tally.Done++
	} else {
		tally.NotDone++
	}
}
