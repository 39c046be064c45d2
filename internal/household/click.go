package household

import (
	"strings"

	"hearthline/internal/journal"
)

// maxBody bounds a staff member's text, in characters; what a phone shows in one piece.
const maxBody = 600

func (d *decision) openCase(id journal.CaseID) (Case, error) {
	c, known := d.s.findCase(id)
	switch {
	case !known:
		return c, refuse("there is no case %s", id)
	case !c.Open():
		return c, refuse("case %s is closed", id)
	}
	return c, nil
}

func (d *decision) claim(ev Claim) error {
	c, err := d.openCase(ev.Case)
	if err != nil {
		return err
	}
	if c.Status == CaseClaimed && c.Holder != ev.By {
		return refuse("%s holds this case already", strings.TrimPrefix(c.Holder, "staff:"))
	}
	d.add(journal.Entry{Kind: journal.KindCaseMoved, CaseMoved: &journal.CaseMoved{Case: c.ID, To: "claimed", Holder: ev.By}})
	return nil
}

func (d *decision) release(ev Release) error {
	c, err := d.openCase(ev.Case)
	if err != nil {
		return err
	}
	if c.Status != CaseClaimed {
		return refuse("nobody holds this case")
	}
	d.add(journal.Entry{Kind: journal.KindCaseMoved, CaseMoved: &journal.CaseMoved{Case: c.ID, To: "open"}})
	return nil
}

func (d *decision) write(ev Write) error {
	c, err := d.openCase(ev.Case)
	if err != nil {
		return err
	}
	body := strings.TrimSpace(ev.Body)
	switch {
	case body == "":
		return refuse("the text is empty")
	case len([]rune(body)) > maxBody:
		return refuse("the text has %d characters; at most %d go out", len([]rune(body)), maxBody)
	}
	ref := ev.To
	if ref == "" {
		ref = c.From
	}
	to, known := d.s.caregiver(ref)
	switch {
	case d.s.Status == Stranger && !strings.HasPrefix(d.s.Phone, "+"):
		return refuse("this sender is no phone number, and cannot be texted")
	case d.s.Status == Stranger:
		to = Caregiver{Caregiver: journal.Caregiver{Phone: d.s.Phone}}
	case ref == "":
		if to, known = d.s.first(); !known {
			return refuse("every caregiver of this household has ended texts; ring instead")
		}
	case !known:
		return refuse("the household has no caregiver %q", ref)
	}
	if to.Stopped {
		return refuse("this caregiver has ended texts; ring instead")
	}
	id := d.send(to, journal.ClassTrouble, d.tagged(body), "staff", c.ID, false)
	d.add(journal.Entry{Kind: journal.KindCaseMoved, CaseMoved: &journal.CaseMoved{Case: c.ID, To: "wrote", Holder: ev.By, Text: id}})
	return nil
}

func (d *decision) close(ev Close) error {
	c, err := d.openCase(ev.Case)
	if err != nil {
		return err
	}
	if c.Status == CaseClaimed && c.Holder != ev.By {
		return refuse("%s holds this case; it is theirs to close", strings.TrimPrefix(c.Holder, "staff:"))
	}
	if !strings.HasPrefix(ev.Disposition, "disposition.") || !d.phrases("").Has(ev.Disposition) {
		return refuse("choose how the case was settled")
	}
	d.add(journal.Entry{Kind: journal.KindCaseMoved, CaseMoved: &journal.CaseMoved{Case: c.ID, To: "closed", Holder: ev.By,
		Disposition: ev.Disposition, Note: strings.TrimSpace(ev.Note)}})
	return nil
}

func (d *decision) setPause(ev SetPause) error {
	if on := d.s.Status == Paused; on == ev.On {
		if on {
			return refuse("the reminders are paused already")
		}
		return refuse("the reminders are not paused")
	}
	if d.s.Status == Stranger || d.s.Status == Ended {
		return refuse("this household has no reminders")
	}
	if !ev.On && d.longWithout() {
		return refuse("feeding has stood still for more than %d days: a nurse and a dietitian look at the restart first, then the order is entered again, checked by a second person (checked_by)", d.w.Limits.RestartDays)
	}
	d.pause(ev.On, ev.Why, "")
	return nil
}

// pause journals the beginning or the end of a pause.
func (d *decision) pause(on bool, why string, text journal.TextID) {
	p := &journal.Paused{On: on, Why: why, Text: text}
	if !on {
		p.LiftedUntil = d.liftUntil()
	}
	d.add(journal.Entry{Kind: journal.KindPaused, Paused: p})
}

// longWithout reports whether the pause is so long that a restart needs a second look.
func (d *decision) longWithout() bool {
	return d.s.PausedAt != 0 && d.w.Limits.NeedsReview(int64((d.at()-d.s.PausedAt)/86_400_000))
}
