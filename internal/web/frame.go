package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"strconv"
	"time"

	"github.com/a-h/templ"
	"github.com/gofiber/fiber/v2"
)

// frame is what every page shows around its own content.
type frame struct {
	Title     string
	Nav       string // the page of the navigation that this one is, or is under
	Service   string
	Branch    string
	Staff     string // "" where nobody is signed in
	Form      string // token of forms
	Unsigned  bool
	Demo      *demoFrame
	SignedIn  bool // shows the way out
	Flow      flow
	Made      string
	Style     string
	Icon      string
	Scripts   []string
	Live      bool // hangs on the stream
	CountedAs int  // in front of the title; -1 for none
}

type demoFrame struct{ Clock clockView }

// flow is how things flow, in words.
type flow struct {
	Words []string
	Old   bool // something has stood still for longer than staleAfter
}

// staleAfter is when silence is said in words. The house promises that within
// 60 s; the rest is for the way to the page.
const staleAfter = 45 * time.Second

// flow says how old the engine's last round is, and what waits.
func (s *Site) flow() flow {
	sight, now := s.watch.sight(), s.now()
	f := flow{}
	add := func(w string) { f.Words = append(f.Words, w) }
	still := s.cfg.Demo != nil && s.cfg.Demo.Clock.Speed() == 0
	switch {
	case !sight.Failed.IsZero():
		add(sayf("flow.failed", span(now.Sub(sight.Failed))))
		f.Old = true
		return f // what it knew before is no news
	case sight.Moved.IsZero():
		add(say("flow.round_never"))
		f.Old = true
	case still:
		add(say("flow.round_still"))
	case now.Sub(sight.Moved) > staleAfter:
		add(sayf("flow.round_old", span(now.Sub(sight.Moved))))
		f.Old = true
	default:
		add(sayf("flow.round", span(now.Sub(sight.Moved))))
	}
	if n := sight.Pulse.Inbox; n > 0 {
		add(sayf("flow.inbox", strconv.Itoa(n)))
	}
	out := 0
	for _, n := range sight.Pulse.Outbox {
		out += n
	}
	if out > 0 {
		add(sayf("flow.outbox", strconv.Itoa(out)))
	}
	return f
}

func (s *Site) frame(c *fiber.Ctx, title, nav string) frame {
	st := seatOf(c)
	f := frame{Title: title, Nav: nav, Service: s.cfg.Service, Branch: s.cfg.Branch, Staff: st.Name, Form: s.token(st),
		Unsigned: s.cfg.UnsignedFlows, SignedIn: s.cfg.Token != "" && st.Name != "", Flow: s.flow(), CountedAs: -1,
		Made: s.now().In(s.cfg.Zone).Format("15:04:05 MST"), Style: s.href("style.css"), Icon: s.href("icon.svg")}
	for _, name := range []string{"htmx.min.js", "htmx-sse.min.js", "live.js"} {
		f.Scripts = append(f.Scripts, s.href(name))
	}
	if s.cfg.Demo != nil {
		f.Demo = &demoFrame{s.clockView()}
		f.Made = s.cfg.Demo.Clock.Now().In(s.cfg.Zone).Format("15:04:05 MST")
	}
	f.Live = st.Name != ""
	return f
}

// render writes a whole page or a fragment.
func (s *Site) render(c *fiber.Ctx, v templ.Component) error {
	var b bytes.Buffer
	if err := v.Render(c.UserContext(), &b); err != nil {
		return err
	}
	c.Set(fiber.HeaderContentType, fiber.MIMETextHTMLCharsetUTF8)
	return c.Send(b.Bytes())
}

// renderNew writes a fragment unless it is what the page shows already, by the
// hash that the page sends along: then nothing moves under the reader's finger.
func (s *Site) renderNew(c *fiber.Ctx, v templ.Component) error {
	hash, body, err := hashed(c, v)
	if err != nil {
		return err
	}
	if c.Query("seen") == hash {
		return c.SendStatus(fiber.StatusNoContent)
	}
	return s.render(c, fragment(hash, body))
}

// inPage is a fragment as the whole page first shows it.
func inPage(c *fiber.Ctx, v templ.Component) (templ.Component, error) {
	hash, body, err := hashed(c, v)
	if err != nil {
		return nil, err
	}
	return fragment(hash, body), nil
}

func hashed(c *fiber.Ctx, v templ.Component) (string, string, error) {
	var b bytes.Buffer
	if err := v.Render(c.UserContext(), &b); err != nil {
		return "", "", err
	}
	sum := sha256.Sum256(b.Bytes())
	return base64.RawURLEncoding.EncodeToString(sum[:9]), b.String(), nil
}
