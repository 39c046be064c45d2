package web

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/a-h/templ"
	"github.com/gofiber/fiber/v2"
)

// flushTimeout is how long one event may take to leave: a page that stopped
// reading is let go after it.
const flushTimeout = 5 * time.Second

// changeGap is the least time between two changes that a page is told of: the
// first is told at once, what follows is told together. A busy branch changes
// many times a second, and each time every open page would fetch its list.
const changeGap = 500 * time.Millisecond

// streamLife is how long one stream lasts. The page connects again at once, if
// it still reads and its sign-in still holds; one that does neither is let go.
const streamLife = 10 * time.Minute

// live is the stream of an open page: "change" when something it may show has
// changed, "tick" when its times need saying anew, "pulse" with the words on
// how things flow. Each event also proves that the line stands.
func (s *Site) live(c *fiber.Ctx) error {
	page := s.watch.join()
	if page == nil {
		return fiber.NewError(fiber.StatusServiceUnavailable, say("error.too_many_pages"))
	}
	c.Set(fiber.HeaderContentType, "text/event-stream")
	c.Set("X-Accel-Buffering", "no")
	conn := c.Context().Conn()
	c.Context().SetBodyStreamWriter(func(w *bufio.Writer) {
		// A panic here would end the process: the framework's own recover does not reach it.
		defer func() {
			s.watch.leave(page)
			if r := recover(); r != nil {
				s.log.Error("stream of a page panicked", "panic", fmt.Sprint(r))
			}
		}()
		send := func(events string) bool {
			// The server's write timeout is for a whole answer; a stream needs one per event.
			if conn.SetWriteDeadline(time.Now().Add(s.flushTimeout)) != nil {
				return false
			}
			if _, err := w.WriteString(events); err != nil {
				return false
			}
			return w.Flush() == nil
		}
		beat := time.NewTicker(s.cfg.Heartbeat)
		defer beat.Stop()
		over := time.NewTimer(s.streamLife)
		defer over.Stop()
		if !send("retry: 1500\n" + s.pulseEvent() + event("change", s.revision())) {
			return
		}
		wake, rested := page.wake, (<-chan time.Time)(nil)
		for {
			var out string
			select {
			case <-page.gone:
				return
			case <-over.C:
				return
			case <-rested:
				wake, rested = page.wake, nil
				continue
			case <-wake:
				wake, rested = nil, time.After(s.changeGap)
				out = event("change", s.revision()) + s.pulseEvent() + s.clockEvent()
			case <-beat.C:
				out = event("tick", s.revision()) + s.pulseEvent() + s.clockEvent()
			}
			if !send(out) {
				return
			}
		}
	})
	return nil
}

func (s *Site) revision() string { return fmt.Sprint(s.watch.sight().Pulse.Revision) }

func (s *Site) pulseEvent() string { return s.wordsEvent("pulse", pulseWords(s.flow())) }

// clockEvent keeps the demo's clock going on the page.
func (s *Site) clockEvent() string {
	if s.cfg.Demo == nil {
		return ""
	}
	return s.wordsEvent("clock", clockWords(s.clockView()))
}

func (s *Site) wordsEvent(name string, v templ.Component) string {
	var b bytes.Buffer
	if err := v.Render(context.Background(), &b); err != nil {
		s.log.Error("words of a stream", "event", name, "error", err)
		return ""
	}
	return event(name, b.String())
}

// event writes one server-sent event; its lines are split as the standard asks
// (WHATWG HTML, 9.2.6).
func event(name, data string) string {
	var b strings.Builder
	b.WriteString("event: " + name + "\n")
	for line := range strings.SplitSeq(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(data), "\n") {
		b.WriteString("data: " + line + "\n")
	}
	b.WriteString("\n")
	return b.String()
}
