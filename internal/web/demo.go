package web

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/journal"
)

// maxTyped is how many characters a pretend phone sends: ten segments.
const maxTyped = 1530

// speeds are what the demo's clock may be set to.
var speeds = []float64{0, 1, 60, 600}

type clockView struct {
	Words  string
	Speed  string
	Speeds []speedChoice
}

type speedChoice struct {
	Value, Words string
	Now          bool
}

func (s *Site) clockView() clockView {
	d := s.cfg.Demo.Clock
	now := d.Speed()
	v := clockView{Words: d.Now().In(s.cfg.Zone).Format("Mon 2 Jan 2006, 15:04:05 MST")}
	switch now {
	case 0:
		v.Speed = say("demo.speed_still")
	case 1:
		v.Speed = say("demo.speed_real")
	default:
		v.Speed = sayf("demo.speed_now", strconv.FormatFloat(now, 'f', -1, 64))
	}
	for _, x := range speeds {
		n := strconv.FormatFloat(x, 'f', -1, 64)
		v.Speeds = append(v.Speeds, speedChoice{n, say("demo.speed." + n), x == now})
	}
	return v
}

func (s *Site) startPage(c *fiber.Ctx) error {
	try := ""
	if t := s.cfg.Demo.Tries["en"]; len(t) > 0 {
		try = t[0]
	}
	return s.render(c, startView(s.frame(c, say("title.start"), "start"), try))
}

func (s *Site) rename(c *fiber.Ctx) error {
	name, ok := staffName(c.FormValue("name"))
	if !ok {
		return fiber.NewError(fiber.StatusUnprocessableEntity, say("signin.name_wrong"))
	}
	if _, err := s.sit(c, name); err != nil {
		return err
	}
	return c.Redirect("/", fiber.StatusSeeOther)
}

// phonesView is the pretend phones with one of them in hand.
type phonesView struct {
	Phones  []phoneView
	Picked  *phoneView
	Texts   []phoneLine
	Failed  bool
	Tries   []string
	Refused string
	Typed   string
	Form    string
}

// phoneView is a phone by its place in the list: its number stands in no address.
type phoneView struct {
	Href, Who, Number, Lang string
	Households              string
	Now                     bool
}

type phoneLine struct {
	Day, Time, Machine, Body string
	Mine                     bool
}

func (s *Site) phones(c *fiber.Ctx) (phonesView, string, error) {
	v := phonesView{Form: s.token(seatOf(c))}
	list, err := s.cfg.Demo.Phones.List(c.UserContext())
	if err != nil {
		return v, "", err
	}
	picked, number := atoi(c.Params("n"), 0, 0, len(list)), ""
	for i, p := range list {
		var hs []string
		for _, h := range p.Households {
			hs = append(hs, string(h))
		}
		pv := phoneView{"/phones/" + strconv.Itoa(i+1), p.Who, p.Number, p.Lang, strings.Join(hs, ", "), i+1 == picked}
		v.Phones = append(v.Phones, pv)
		if pv.Now {
			number, v.Picked = p.Number, &pv
		}
	}
	if v.Picked == nil {
		if c.Params("n") != "" {
			return v, "", fiber.ErrNotFound
		}
		return v, "", nil
	}
	texts, err := s.cfg.Demo.Phones.Thread(c.UserContext(), number)
	if err != nil {
		s.log.Error("pretend phone not read", "error", err)
		v.Failed = true
		return v, number, nil
	}
	day := ""
	for _, t := range slices.Backward(texts) { // newest first, under the form
		at := t.At.In(s.cfg.Zone)
		l := phoneLine{Time: at.Format("15:04 MST"), Machine: machine(journal.At(t.At)), Body: t.Body, Mine: t.Mine}
		if d := at.Format("Mon 2 Jan 2006"); d != day {
			day, l.Day = d, d
		}
		v.Texts = append(v.Texts, l)
	}
	v.Tries = s.cfg.Demo.Tries[v.Picked.Lang]
	return v, number, nil
}

func (s *Site) phonesPage(c *fiber.Ctx) error {
	v, _, err := s.phones(c)
	if err != nil {
		return err
	}
	return s.showPhones(c, v)
}

func (s *Site) showPhones(c *fiber.Ctx, v phonesView) error {
	thread, err := inPage(c, phoneThreadView(v))
	if err != nil {
		return err
	}
	return s.render(c, phonesPageView(s.frame(c, say("title.phones"), "phones"), v, thread))
}

func (s *Site) phoneThread(c *fiber.Ctx) error {
	v, _, err := s.phones(c)
	if err != nil {
		return err
	}
	return s.renderNew(c, phoneThreadView(v))
}

func (s *Site) phoneType(c *fiber.Ctx) error {
	v, number, err := s.phones(c)
	if err != nil {
		return err
	}
	if v.Picked == nil {
		return fiber.ErrNotFound
	}
	body := strings.TrimSpace(strings.ReplaceAll(c.FormValue("body"), "\r\n", "\n"))
	if try := c.FormValue("try"); try != "" {
		body = strings.TrimSpace(try)
	}
	switch n := len([]rune(body)); {
	case n == 0:
		v.Refused = say("demo.empty")
	case n > maxTyped:
		v.Refused = sayf("demo.long", strconv.Itoa(maxTyped))
	default:
		if err := s.cfg.Demo.Phones.Type(c.UserContext(), number, body); err != nil {
			s.log.Error("pretend phone could not send", "error", err)
			v.Refused = say("case.failed")
		}
	}
	if v.Refused != "" {
		v.Typed = body
		c.Status(fiber.StatusUnprocessableEntity)
		return s.showPhones(c, v)
	}
	return c.Redirect(v.Picked.Href, fiber.StatusSeeOther)
}

// setClock sets the demo's speed or skips an hour, and goes back to the page.
func (s *Site) setClock(c *fiber.Ctx) error {
	if c.FormValue("skip") == "hour" {
		s.cfg.Demo.Clock.Skip(time.Hour)
		return c.Redirect(backTo(c.FormValue("to")), fiber.StatusSeeOther)
	}
	x, err := strconv.ParseFloat(c.FormValue("speed"), 64)
	for _, known := range speeds {
		if err == nil && x == known {
			s.cfg.Demo.Clock.SetSpeed(x)
			return c.Redirect(backTo(c.FormValue("to")), fiber.StatusSeeOther)
		}
	}
	return fiber.NewError(fiber.StatusUnprocessableEntity, say("demo.clock_wrong"))
}

func phoneHref(v phonesView) string {
	if v.Picked != nil {
		return v.Picked.Href
	}
	return "/phones"
}
