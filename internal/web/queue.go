package web

import (
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/household"
	"hearthline/internal/journal"
)

// How many cases a page shows at first, how many more each time, and at most.
const (
	queueFirst = 100
	queueMost  = 1000
)

// queueView is the queue as it stands at one instant.
type queueView struct {
	Rows   []caseRow
	Total  int
	Failed bool
	More   string // address that shows more; "" where all are shown
	MoreBy int
	Form   string
	List   string // address of the list alone
}

// caseRow is one case on the queue.
type caseRow struct {
	ID, Href, Act string // Act is the address under which acts are posted
	Title         string
	Left          string
	By            string // "by 03:40 CDT"
	Overdue       bool
	Wick          int // percent of the answer time that is left, 0..100
	Said          []piece
	Household     string
	Name          string
	Tube          string
	Answer        string
	Urgent        bool // an emergency
	For           string
	Holder        string
	Mine, Free    bool
	Waiting       bool
	Unknown       bool
	Texts         string
	Announce      string
}

func holderName(holder string) string { return strings.TrimPrefix(holder, staffPrefix) }

// heldBy reports whether st holds the case. Holders are named as the journal
// names people.
func heldBy(holder string, st seat) bool {
	return holder != "" && holderName(holder) == st.Name
}

func (s *Site) caseRow(v household.CaseView, now time.Time, st seat) caseRow {
	z := s.zoneOf(v.Zone)
	href := "/case/" + string(v.Household) + "/" + string(v.ID)
	r := caseRow{ID: "case-" + string(v.ID), Href: href, Act: href, Title: s.phrase(v.Title), Left: left(now, v.AnswerBy),
		By: sayf("case.answer_by", clockNear(v.AnswerBy, now, z)), Overdue: v.Overdue || now.After(v.AnswerBy.Time()),
		Wick: wick(v.Opened, v.AnswerBy, now), Said: markWords(v.Said, v.Words), Household: string(v.Household),
		Name: v.Name, Tube: tubeWords(v.Tube), Answer: s.answerWords(v.Answer), Urgent: v.Answer == journal.AnswerEmergency, Mine: heldBy(v.Holder, st), Free: v.Holder == "",
		Waiting: v.Status == household.CaseWaiting, Unknown: v.Unknown || v.Household.Stranger()}
	if !r.Free {
		r.Holder = holderName(v.Holder)
	}
	if v.GoesTo != "" && v.GoesTo != "nurse" {
		r.For = sayf("case.for", plain(v.GoesTo))
	}
	if v.Texts > 1 {
		r.Texts = sayf("queue.texts", strconv.Itoa(v.Texts))
	}
	r.Announce = r.Title + ", " + r.Household + ", " + r.Left
	return r
}

// clockNear is the time of day, with the day where it is not now's.
func clockNear(m journal.Millis, now time.Time, z *time.Location) string {
	if m.Time().In(z).Format("2006-01-02") == now.In(z).Format("2006-01-02") {
		return clock(m, z)
	}
	return dayClock(m, z)
}

// wick is how much of the answer time is left, in whole percent.
func wick(opened, by journal.Millis, now time.Time) int {
	whole := by.Time().Sub(opened.Time())
	if whole <= 0 {
		return 0
	}
	return int(min(100, max(0, 100*by.Time().Sub(now)/whole)))
}

func tubeWords(tube string) string {
	if tube == "" {
		return ""
	}
	return plain(tube) + " " + say("tube.label")
}

func (s *Site) answerWords(a journal.Answer) string {
	key := "answer." + string(a)
	if s.cfg.Phrases("en").Has(key) {
		return s.phrase(key)
	}
	if _, ok := words[key]; ok {
		return say(key)
	}
	return plain(string(a))
}

func (s *Site) queue(c *fiber.Ctx) queueView {
	show := atoi(c.Query("show"), queueFirst, 1, queueMost)
	st := seatOf(c)
	v := queueView{Form: s.token(st), List: "/queue/list?show=" + strconv.Itoa(show)}
	now, err := s.cfg.Desk.Now(c.UserContext())
	if err == nil {
		var cases []household.CaseView
		cases, v.Total, err = s.cfg.Desk.Queue(c.UserContext(), show)
		for _, x := range cases {
			v.Rows = append(v.Rows, s.caseRow(x, now, st))
		}
	}
	if err != nil {
		s.log.Error("queue not read", "error", err)
		return queueView{Failed: true, List: v.List}
	}
	if rest := v.Total - len(v.Rows); rest > 0 && show < queueMost {
		v.MoreBy = min(rest, queueFirst)
		v.More = "/queue?show=" + strconv.Itoa(show+v.MoreBy) + "#" + v.Rows[len(v.Rows)-1].ID
	}
	return v
}

func (s *Site) queuePage(c *fiber.Ctx) error {
	v := s.queue(c)
	list, err := inPage(c, queueListView(v))
	if err != nil {
		return err
	}
	if v.Failed {
		c.Status(fiber.StatusServiceUnavailable)
	}
	f := s.frame(c, say("title.queue"), "queue")
	if !v.Failed {
		f.CountedAs = v.Total
	}
	return s.render(c, queuePageView(f, v, list))
}

func (s *Site) queueList(c *fiber.Ctx) error { return s.renderNew(c, queueListView(s.queue(c))) }
