package household

import "slices"

// Changes are the views that differ between two states of a household: all of
// them functions of the states alone, so that a rebuild makes the same.
type Changes struct {
	Cases      []CaseView // opened or changed; a closed one is to be taken off the queue
	AddPhones  []string   // E.164
	DropPhones []string   // E.164
	Row        *RowView   // nil for a stranger
	Rank       int64      // whom to look at first
}

// Compare says which views a step from before to after changes.
func Compare(before, after State) Changes {
	var c Changes
	tube := ""
	if p, ok := after.prescription(); ok {
		tube = string(p.Tube.Kind)
	}
	for _, now := range after.Cases {
		was, known := before.findCase(now.ID)
		if known && sameCase(was, now) {
			continue
		}
		c.Cases = append(c.Cases, CaseView{Case: now, Household: after.ID, Name: after.Name, Zone: after.Zone, Tube: tube})
	}
	was, now := before.phones(), after.phones()
	for _, p := range now {
		if !slices.Contains(was, p) {
			c.AddPhones = append(c.AddPhones, p)
		}
	}
	for _, p := range was {
		if !slices.Contains(now, p) {
			c.DropPhones = append(c.DropPhones, p)
		}
	}
	if after.Status != Stranger && after.Status != "" {
		row := after.Row()
		c.Row, c.Rank = &row, row.rank()
	}
	return c
}

func sameCase(a, b Case) bool {
	return a.Status == b.Status && a.Holder == b.Holder && a.AnswerBy == b.AnswerBy && a.Overdue == b.Overdue &&
		a.Texts == b.Texts && a.Protocol == b.Protocol && a.Said == b.Said && slices.Equal(a.Codes, b.Codes)
}

func (s State) phones() []string {
	var out []string
	for _, c := range s.Caregivers {
		out = append(out, c.Phone)
	}
	return out
}

// Row is the household's summary row.
func (s State) Row() RowView {
	r := RowView{Household: s.ID, Name: s.Name, Tag: s.Tag, Zone: s.Zone, Status: s.Status, LastText: s.LastText, Undeliv: s.Undeliv, Days: []DayView{}}
	for _, c := range s.Caregivers {
		if c.Stopped {
			r.Stopped++
		}
	}
	r.Nobody = r.Stopped > 0 && r.Stopped == len(s.Caregivers)
	for _, c := range s.Cases {
		if c.Open() {
			r.OpenCases++
		}
	}
	for _, d := range s.Days[max(0, len(s.Days)-7):] {
		r.Days = append(r.Days, DayView{Day: d.Day, Volume: d.VolumeAt(s.Latest), MilliKcal: d.MilliKcal().Given,
			Flushes: d.Flushes, BagChanges: d.BagChanges, Asked: d.Asked, Answered: d.Answered, Closed: d.Closed})
	}
	return r
}

// rank orders the coordinator's list: open cases first, then nobody left to
// ask, then the share of the newest closed day that is not known to be given.
func (r RowView) rank() int64 {
	rank := int64(r.OpenCases) * 10_000
	if r.Stopped > 0 || r.Undeliv > 1 {
		rank += 5_000
	}
	for _, d := range slices.Backward(r.Days) {
		if d.Closed && d.Volume.Prescribed > 0 {
			return rank + 1_000*(d.Volume.Prescribed-d.Volume.Given)/d.Volume.Prescribed
		}
	}
	return rank
}
