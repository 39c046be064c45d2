package web

import (
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/household"
	"hearthline/internal/journal"
)

// rowsPage is how many households a page shows.
const rowsPage = 100

// householdsView is the coordinator's list.
type householdsView struct {
	Rows         []householdRow
	Total        int
	Failed       bool
	Before, Next string
	List         string
}

// householdRow is one household on the list.
type householdRow struct {
	ID, Href, Name, Tag string
	Status              household.Status
	StatusWords         string
	Days                []dayBar
	Picture             string // the days, said for who does not see them
	Cases               string
	HasCases            bool
	Last                string
	Trouble             []string // ended texts, undelivered
}

func (s *Site) householdRow(r household.RowView, now time.Time) householdRow {
	v := householdRow{ID: string(r.Household), Href: "/household/" + string(r.Household), Name: r.Name, Tag: r.Tag,
		Status: r.Status, StatusWords: statusWords(r.Status), HasCases: r.OpenCases > 0, Cases: say("households.cases_none"),
		Last: say("households.last_none")}
	if v.HasCases {
		v.Cases = count("households.cases", r.OpenCases)
	}
	if r.LastText != 0 {
		v.Last = sayf("households.last", ago(now.Sub(r.LastText.Time())))
	}
	if r.Nobody {
		v.Trouble = append(v.Trouble, say("households.nobody"))
	} else if r.Stopped > 0 {
		v.Trouble = append(v.Trouble, sayf("households.stopped", strconv.Itoa(r.Stopped)))
	}
	if r.Undeliv > 0 {
		v.Trouble = append(v.Trouble, sayf("households.undelivered", strconv.Itoa(r.Undeliv)))
	}
	var said []string
	for _, d := range r.Days {
		b := barOf(d.Day, d.Volume, kcal(d.MilliKcal)+" kcal", d.Flushes, d.BagChanges, d.Asked, d.Answered, d.Closed)
		v.Days = append(v.Days, b)
		said = append(said, daySentence(b))
	}
	v.Picture = strings.Join(said, " ")
	return v
}

// sentence says a day whole, for who does not see the drawing.
func daySentence(b dayBar) string {
	if b.Short == "" {
		return b.Sentence + "."
	}
	return b.Sentence + ", " + b.Short + "."
}

func statusWords(st household.Status) string {
	if w, ok := words["status."+string(st)]; ok {
		return w
	}
	return plain(string(st))
}

func (s *Site) households(c *fiber.Ctx) householdsView {
	from := atoi(c.Query("from"), 0, 0, 1_000_000)
	v := householdsView{List: "/households/list?from=" + strconv.Itoa(from)}
	now, err := s.cfg.Desk.Now(c.UserContext())
	var rows []household.RowView
	if err == nil {
		rows, v.Total, err = s.cfg.Desk.Rows(c.UserContext(), from, rowsPage)
	}
	if err != nil {
		s.log.Error("households not read", "error", err)
		return householdsView{Failed: true, List: v.List}
	}
	for _, r := range rows {
		v.Rows = append(v.Rows, s.householdRow(r, now))
	}
	if from > 0 {
		v.Before = "/households?from=" + strconv.Itoa(max(0, from-rowsPage))
	}
	if from+len(rows) < v.Total && len(rows) > 0 {
		v.Next = "/households?from=" + strconv.Itoa(from+len(rows))
	}
	return v
}

func (s *Site) householdsPage(c *fiber.Ctx) error {
	v := s.households(c)
	list, err := inPage(c, householdsListView(v))
	if err != nil {
		return err
	}
	if v.Failed {
		c.Status(fiber.StatusServiceUnavailable)
	}
	return s.render(c, householdsPageView(s.frame(c, say("title.households"), "households"), v, list))
}

func (s *Site) householdsList(c *fiber.Ctx) error {
	return s.renderNew(c, householdsListView(s.households(c)))
}

// householdView is one household.
type householdView struct {
	ID, Name, Tag, Zone string
	Status              household.Status
	StatusWords         string
	People              []personView
	Days                []dayBar // newest first
	Cases               []householdCase
	Thread              threadView
	Live, Pause, Form   string
	CanPause            bool
	Refused, Why        string
}

type householdCase struct {
	Href, Title, Words string
	Open               bool
}

var errNoHousehold = errors.New("no such household")

func (s *Site) loadHousehold(c *fiber.Ctx) (householdView, error) {
	id, ctx := journal.HouseholdID(c.Params("household")), c.UserContext()
	now, err := s.cfg.Desk.Now(ctx)
	if err != nil {
		return householdView{}, err
	}
	st, err := s.cfg.Desk.Household(ctx, id)
	if err != nil {
		return householdView{}, err
	}
	if st.Version == 0 {
		return householdView{}, errNoHousehold
	}
	z := s.zoneOf(st.Zone)
	href := "/household/" + string(id)
	v := householdView{ID: string(id), Name: st.Name, Tag: st.Tag, Zone: zoneWords(z), Status: st.Status,
		StatusWords: statusWords(st.Status), People: people(st), Live: href + "/live", Pause: href + "/pause",
		Form: s.token(seatOf(c)), CanPause: st.Status == household.Active || st.Status == household.Paused}
	for i := len(st.Days) - 1; i >= 0; i-- {
		d := st.Days[i]
		e := d.MilliKcal()
		v.Days = append(v.Days, barOf(d.Day, d.Volume(), sayf("day.of", kcal(e.Given), kcal(e.Prescribed)+" kcal"),
			d.Flushes, d.BagChanges, d.Asked, d.Answered, d.Closed))
	}
	for i := len(st.Cases) - 1; i >= 0; i-- {
		k := st.Cases[i]
		hc := householdCase{Href: "/case/" + string(id) + "/" + string(k.ID), Title: s.phrase(k.Title), Open: k.Open()}
		if hc.Open {
			hc.Words = left(now, k.AnswerBy)
		} else {
			hc.Words = sayf("case.closed", s.phrase(k.Disposition))
		}
		v.Cases = append(v.Cases, hc)
	}
	entries, err := s.cfg.Desk.Thread(ctx, id, threadLines)
	if err != nil {
		s.log.Error("journal not read", "household", id, "error", err)
		v.Thread = threadView{Failed: true}
		return v, nil
	}
	v.Thread = s.thread(st, entries, "")
	return v, nil
}

func (s *Site) householdPage(c *fiber.Ctx) error {
	v, err := s.loadHousehold(c)
	if errors.Is(err, errNoHousehold) {
		c.Status(fiber.StatusNotFound)
		return s.render(c, errorPage(s.frame(c, say("title.household"), "households"), fiber.StatusNotFound, say("household.gone")))
	}
	if err != nil {
		return err
	}
	return s.showHousehold(c, v)
}

func (s *Site) showHousehold(c *fiber.Ctx, v householdView) error {
	standing, err := inPage(c, householdStanding(v))
	if err != nil {
		return err
	}
	return s.render(c, householdPageView(s.frame(c, v.ID, "households"), v, standing))
}

func (s *Site) householdLive(c *fiber.Ctx) error {
	v, err := s.loadHousehold(c)
	if errors.Is(err, errNoHousehold) {
		return fiber.ErrNotFound
	}
	if err != nil {
		return err
	}
	return s.renderNew(c, householdStanding(v))
}

// householdPause stops or resumes reminders: a person's decision, with its reason.
func (s *Site) householdPause(c *fiber.Ctx) error {
	id := journal.HouseholdID(c.Params("household"))
	why := strings.TrimSpace(c.FormValue("why"))
	click := household.SetPause{By: seatOf(c).by(), On: c.FormValue("on") == "yes", Why: why}
	err := s.cfg.Desk.Do(c.UserContext(), id, click)
	if err == nil {
		return c.Redirect("/household/"+string(id), fiber.StatusSeeOther)
	}
	words, status := say("case.failed"), fiber.StatusInternalServerError
	var no *household.Refused
	if errors.As(err, &no) {
		words, status = sayf("case.refused", no.Why), fiber.StatusConflict
	} else {
		s.log.Error("pause not carried out", "household", id, "error", err)
	}
	v, lerr := s.loadHousehold(c)
	c.Status(status)
	if lerr != nil {
		return s.render(c, errorPage(s.frame(c, say("title.household"), "households"), status, words))
	}
	v.Refused, v.Why = words, why
	return s.showHousehold(c, v)
}
