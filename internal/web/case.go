package web

import (
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/household"
	"hearthline/internal/journal"
)

// maxParts is how many segments a text to a caregiver may take.
const maxParts = 2

// caseView is one case with all that a nurse needs beside it.
type caseView struct {
	caseRow
	Opened      string
	Why         string
	Closed      string // "" while it is open
	Status      household.CaseStatus
	People      []personView
	Dispo       []choice
	Thread      threadView
	Form        string
	HouseholdAt string
	Live        string
	// What was typed, given back where an act was not carried out.
	Typed   typed
	Refused string
}

type typed struct{ To, Body, Disposition, Note string }

type personView struct {
	Ref, Name, Phone, Lang string
	Stopped                bool
}

type choice struct{ Key, Words string }

func people(st household.State) []personView {
	var out []personView
	for _, c := range st.Caregivers {
		out = append(out, personView{string(c.Ref), c.Name, c.Phone, c.Lang, c.Stopped})
	}
	if len(out) == 0 && st.Phone != "" {
		out = append(out, personView{Name: st.Phone, Phone: st.Phone})
	}
	return out
}

// loadCase reads a case. Where the household or the case is not there, it is a
// 404 in words.
func (s *Site) loadCase(c *fiber.Ctx) (caseView, error) {
	id, of := journal.HouseholdID(c.Params("household")), journal.CaseID(c.Params("case"))
	ctx := c.UserContext()
	now, err := s.cfg.Desk.Now(ctx)
	if err != nil {
		return caseView{}, err
	}
	st, err := s.cfg.Desk.Household(ctx, id)
	if err != nil {
		return caseView{}, err
	}
	for _, k := range st.Cases {
		if k.ID != of {
			continue
		}
		v := s.caseOf(st, k, now, seatOf(c))
		entries, err := s.cfg.Desk.Thread(ctx, id, threadLines)
		if err != nil {
			s.log.Error("journal not read", "household", id, "error", err)
			v.Thread = threadView{Failed: true}
			return v, nil
		}
		v.Thread = s.thread(st, entries, of)
		return v, nil
	}
	return caseView{}, errNoCase
}

var errNoCase = errors.New("no such case on file")

func (s *Site) caseOf(st household.State, k household.Case, now time.Time, me seat) caseView {
	z := s.zoneOf(st.Zone)
	v := caseView{caseRow: s.caseRow(household.CaseView{Case: k, Household: st.ID, Name: st.Name, Zone: st.Zone, Tube: tubeOf(st, now)}, now, me),
		Opened: sayf("case.opened", dayClock(k.Opened, z)), Why: k.Why, Status: k.Status, People: people(st), Form: s.token(me),
		HouseholdAt: "/household/" + string(st.ID)}
	v.By = sayf("case.answer_by", dayClock(k.AnswerBy, z))
	v.Live = v.Href + "/live"
	if !k.Open() {
		v.Closed = sayf("case.closed", s.phrase(k.Disposition))
	}
	for _, key := range s.cfg.Dispositions {
		v.Dispo = append(v.Dispo, choice{key, s.phrase(key)})
	}
	return v
}

// tubeOf is the kind of tube in the prescription that holds now; "" where none says.
func tubeOf(st household.State, now time.Time) string {
	kind := ""
	for _, r := range st.Regimens {
		var p struct {
			Tube struct {
				Kind string `json:"kind"`
			} `json:"tube"`
		}
		if r.From <= journal.At(now) && json.Unmarshal(r.Prescription, &p) == nil {
			kind = p.Tube.Kind
		}
	}
	return kind
}

func (s *Site) casePage(c *fiber.Ctx) error {
	v, err := s.loadCase(c)
	if errors.Is(err, errNoCase) {
		c.Status(fiber.StatusNotFound)
		f := s.frame(c, say("title.case"), "queue")
		return s.render(c, errorPage(f, fiber.StatusNotFound, say("case.gone")))
	}
	if err != nil {
		return err
	}
	return s.showCase(c, v)
}

func (s *Site) showCase(c *fiber.Ctx, v caseView) error {
	head, err := inPage(c, caseHead(v))
	if err != nil {
		return err
	}
	record, err := inPage(c, caseRecord(v))
	if err != nil {
		return err
	}
	return s.render(c, casePageView(s.frame(c, v.Title, "queue"), v, head, record))
}

// caseLive is what changes by itself on an open case: where it stands and what
// was said. The forms are not in it: nothing that a nurse types is ever replaced.
func (s *Site) caseLive(c *fiber.Ctx) error {
	v, err := s.loadCase(c)
	if errors.Is(err, errNoCase) {
		return fiber.ErrNotFound
	}
	if err != nil {
		return err
	}
	if c.Query("part") == "record" {
		return s.renderNew(c, caseRecord(v))
	}
	return s.renderNew(c, caseHead(v))
}

// caseAct carries out a nurse's act and shows the case again.
func (s *Site) caseAct(c *fiber.Ctx) error {
	id, of, by := journal.HouseholdID(c.Params("household")), journal.CaseID(c.Params("case")), seatOf(c).by()
	t := typed{To: c.FormValue("to"), Body: strings.TrimSpace(strings.ReplaceAll(c.FormValue("body"), "\r\n", "\n")),
		Disposition: c.FormValue("disposition"), Note: strings.TrimSpace(c.FormValue("note"))}
	var click household.Event
	why := ""
	switch c.Params("act") {
	case "claim":
		click = household.Claim{By: by, Case: of}
	case "release":
		click = household.Release{By: by, Case: of}
	case "write":
		click = household.Write{By: by, Case: of, To: journal.CaregiverRef(t.To), Body: t.Body}
		if n := journal.Segments(t.Body).Parts; t.Body == "" {
			why = say("case.empty_body")
		} else if n > maxParts {
			why = sayf("case.too_long", strconv.Itoa(n))
		}
	case "close":
		click = household.Close{By: by, Case: of, Disposition: t.Disposition, Note: t.Note}
		if !s.offered(t.Disposition) {
			why = say("case.no_disposition")
		}
	default:
		return fiber.ErrNotFound
	}
	if why != "" {
		return s.notDone(c, fiber.StatusUnprocessableEntity, why, t)
	}
	if err := s.cfg.Desk.Do(c.UserContext(), id, click); err != nil {
		var no *household.Refused
		if errors.As(err, &no) {
			return s.notDone(c, fiber.StatusConflict, sayf("case.refused", no.Why), t)
		}
		s.log.Error("act not carried out", "act", c.Params("act"), "household", id, "error", err)
		return s.notDone(c, fiber.StatusInternalServerError, say("case.failed"), t)
	}
	to := "/case/" + string(id) + "/" + string(of)
	if c.FormValue("from") == "queue" {
		to = "/queue"
	}
	return c.Redirect(to, fiber.StatusSeeOther)
}

func (s *Site) offered(disposition string) bool {
	for _, d := range s.cfg.Dispositions {
		if d == disposition {
			return true
		}
	}
	return false
}

// notDone shows the case with what was typed and why it was not carried out.
func (s *Site) notDone(c *fiber.Ctx, status int, why string, t typed) error {
	v, err := s.loadCase(c)
	c.Status(status)
	if err != nil {
		if !errors.Is(err, errNoCase) {
			s.log.Error("case not read", "error", err)
		}
		return s.render(c, errorPage(s.frame(c, say("title.case"), "queue"), status, why))
	}
	v.Refused, v.Typed = why, t
	return s.showCase(c, v)
}

// segments counts the text in the form as it is typed.
func (s *Site) segments(c *fiber.Ctx) error {
	return s.render(c, segmentWords(strings.ReplaceAll(c.FormValue("body"), "\r\n", "\n")))
}

func segmentSentence(body string) (string, bool) {
	n := journal.Segments(body)
	if n.Parts > maxParts {
		return sayf("segments_over", strconv.Itoa(n.Parts)), true
	}
	return sayf("segments", strconv.Itoa(n.Parts), strconv.Itoa(n.Units)), false
}
