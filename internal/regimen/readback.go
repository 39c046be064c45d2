package regimen

import "hearthline/internal/journal"

// findReadBacks notes, for each feed whose rate or volume the order changed
// against the one before, the first act under the new number.
func (o *order) findReadBacks() {
	if o.prev == nil {
		return
	}
	for i := range o.p.Feeds {
		now := &o.p.Feeds[i]
		for j := range o.prev.p.Feeds {
			was := &o.prev.p.Feeds[j]
			if was.Name == now.Name && (was.RateMLPerH != now.RateMLPerH || was.VolumeML != now.VolumeML) {
				o.reads = append(o.reads, readBack{feed: now.Name, now: now, was: was, first: o.firstOf(now.Name)})
			}
		}
	}
}

// firstOf returns when the named feed first runs under the order.
func (o *order) firstOf(name string) int64 {
	var zs zoneSpan
	d := o.dayAt(o.from) - 1
	for k := 0; k < horizon; k++ {
		f := o.frame(d+dayIndex(k), &zs)
		var buf [maxOccs]occ
		for _, x := range f.occurrences(nil, buf[:0]) {
			if x.s.feed.Name == name {
				return x.start
			}
		}
	}
	return forever
}

// findReadBack sets the prompt's read-back where it holds the first run of a changed feed.
func (pr *Prompt) findReadBack(o *order, a *Actual) {
	for i := range o.reads {
		rb := &o.reads[i]
		for j := range pr.Acts {
			act := &pr.Acts[j]
			if act.Feed == rb.feed && (act.Kind == ActFeedStart || act.Kind == ActCheckin) && act.At.Unix() == rb.first &&
				!a.IsAnswered(act.Occurrence, AskReadBack) {
				pr.ReadBack = &ReadBack{Feed: rb.feed, Rate: rb.now.RateMLPerH, WasHad: rb.was.RateMLPerH,
					ML: journal.ML(rb.now.VolumeML), WasML: rb.was.VolumeML}
				return
			}
		}
	}
}
