package web

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"sync"
	"time"
	"unicode"

	"github.com/gofiber/fiber/v2"
)

const (
	cookieName = "hearthline_seat"
	// shift is how long a sign-in holds: the longest shift that is common, with
	// time to hand over (common practice, no source).
	shift       = 13 * time.Hour
	maxName     = 40 // characters of a staff name
	staffPrefix = "staff:"
)

// seat is who works at a browser. It travels in a signed cookie; nothing is
// kept on the server.
type seat struct {
	Name  string `json:"name"`
	Since int64  `json:"since_ms"`
	Nonce string `json:"nonce"` // ties form tokens to this sign-in
}

// by is how the journal names the person.
func (s seat) by() string { return staffPrefix + s.Name }

// derive makes the signing key of the token, so that every process of a branch
// accepts what another one signed, and a changed token ends every session.
func derive(token string) []byte {
	m := hmac.New(sha256.New, []byte(token))
	m.Write([]byte("hearthline pages, sessions, 1"))
	return m.Sum(nil)
}

func (s *Site) sign(what string) string {
	m := hmac.New(sha256.New, s.key)
	m.Write([]byte(what))
	return base64.RawURLEncoding.EncodeToString(m.Sum(nil))
}

func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

func (s *Site) seal(st seat) (string, error) {
	b, err := json.Marshal(st)
	if err != nil {
		return "", fmt.Errorf("session: %w", err)
	}
	body := base64.RawURLEncoding.EncodeToString(b)
	return body + "." + s.sign("seat."+body), nil
}

// unseal returns the seat of a cookie; ok is false where it is forged, damaged
// or older than a shift.
func (s *Site) unseal(cookie string) (st seat, ok bool) {
	body, mac, found := strings.Cut(cookie, ".")
	if !found || !same(mac, s.sign("seat."+body)) {
		return seat{}, false
	}
	b, err := base64.RawURLEncoding.DecodeString(body)
	if err != nil || json.Unmarshal(b, &st) != nil {
		return seat{}, false
	}
	age := s.now().Sub(time.UnixMilli(st.Since))
	return st, age > -time.Minute && age < shift
}

// sit gives the browser a new seat.
func (s *Site) sit(c *fiber.Ctx, name string) (seat, error) {
	nonce := make([]byte, 16)
	if _, err := rand.Read(nonce); err != nil {
		return seat{}, fmt.Errorf("session nonce: %w", err)
	}
	st := seat{Name: name, Since: s.now().UnixMilli(), Nonce: base64.RawURLEncoding.EncodeToString(nonce)}
	v, err := s.seal(st)
	if err != nil {
		return seat{}, err
	}
	c.Cookie(&fiber.Cookie{Name: cookieName, Value: v, Path: "/", HTTPOnly: true, SameSite: fiber.CookieSameSiteStrictMode,
		Secure: c.Protocol() == "https", MaxAge: int(shift / time.Second)})
	c.Locals("seat", st)
	return st, nil
}

func seatOf(c *fiber.Ctx) seat {
	st, _ := c.Locals("seat").(seat)
	return st
}

// admit lets in who has a seat or the token itself; in the demo, everyone.
func (s *Site) admit(c *fiber.Ctx) error {
	if st, ok := s.unseal(c.Cookies(cookieName)); ok {
		c.Locals("seat", st)
		return c.Next()
	}
	if s.cfg.Token == "" {
		if _, err := s.sit(c, say("demo.name")); err != nil {
			return err
		}
		return c.Next()
	}
	if token, found := strings.CutPrefix(c.Get(fiber.HeaderAuthorization), "Bearer "); found {
		if wait := s.wrong.wait(c.IP(), s.now()); wait > 0 {
			return tooMany(c, wait)
		}
		if !same(token, s.cfg.Token) {
			s.wrong.note(c.IP(), s.now())
			return fiber.NewError(fiber.StatusUnauthorized, say("signin.wrong"))
		}
		name, ok := staffName(c.Get("Hearthline-Staff", "token"))
		if !ok {
			return fiber.NewError(fiber.StatusBadRequest, say("signin.name_wrong"))
		}
		c.Locals("seat", seat{Name: name})
		c.Locals("bearer", true)
		return c.Next()
	}
	if c.Method() != fiber.MethodGet || c.Get("HX-Request") != "" || c.Path() == "/live" {
		return fiber.NewError(fiber.StatusUnauthorized, say("signin.ended"))
	}
	return c.Redirect("/signin?to="+url.QueryEscape(c.Path()), fiber.StatusSeeOther)
}

// staffName tidies a name that a person typed; ok is false where none is left
// or it is too long.
func staffName(typed string) (string, bool) {
	name := strings.Join(strings.Fields(typed), " ")
	if name == "" || len([]rune(name)) > maxName {
		return "", false
	}
	for _, r := range name {
		if !unicode.IsPrint(r) {
			return "", false
		}
	}
	return name, true
}

func (s *Site) signInPage(c *fiber.Ctx) error {
	return s.render(c, signInView(s.frame(c, say("title.signin"), ""), backTo(c.Query("to")), "", ""))
}

// backTo allows only paths of our own pages.
func backTo(to string) string {
	if !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n") || to == "/signin" {
		return "/queue"
	}
	return to
}

// signIn needs no form token: there is no session yet that another site could
// use, and sameOrigin has refused its forms already.
func (s *Site) signIn(c *fiber.Ctx) error {
	to, typed := backTo(c.FormValue("to")), c.FormValue("name")
	refuse := func(status int, words string) error {
		c.Status(status)
		return s.render(c, signInView(s.frame(c, say("title.signin"), ""), to, typed, words))
	}
	if wait := s.wrong.wait(c.IP(), s.now()); wait > 0 {
		c.Set(fiber.HeaderRetryAfter, seconds(wait))
		return refuse(fiber.StatusTooManyRequests, sayf("signin.wait", seconds(wait)))
	}
	if !same(c.FormValue("token"), s.cfg.Token) {
		s.wrong.note(c.IP(), s.now())
		return refuse(fiber.StatusUnauthorized, say("signin.wrong"))
	}
	name, ok := staffName(typed)
	if !ok {
		return refuse(fiber.StatusUnprocessableEntity, say("signin.name_wrong"))
	}
	s.wrong.forget(c.IP())
	if _, err := s.sit(c, name); err != nil {
		return err
	}
	return c.Redirect(to, fiber.StatusSeeOther)
}

func (s *Site) signOut(c *fiber.Ctx) error {
	c.Cookie(&fiber.Cookie{Name: cookieName, Path: "/", HTTPOnly: true, SameSite: fiber.CookieSameSiteStrictMode, MaxAge: -1,
		Expires: time.Unix(1, 0)})
	return c.Redirect("/signin", fiber.StatusSeeOther)
}

func tooMany(c *fiber.Ctx, wait time.Duration) error {
	c.Set(fiber.HeaderRetryAfter, seconds(wait))
	return fiber.NewError(fiber.StatusTooManyRequests, sayf("signin.wait", seconds(wait)))
}

// wrongTries slows guessing down: after each wrong try the address waits twice
// as long, from 1 s to a minute. An hour without one forgets it.
type wrongTries struct {
	mu sync.Mutex
	by map[string]*tries
}

type tries struct {
	n    int
	last time.Time
}

const (
	maxWait      = time.Minute
	forgetTries  = time.Hour
	maxAddresses = 4096 // remembered; beyond it the oldest go
)

// wait is how long the address has to wait before its next try.
func (w *wrongTries) wait(addr string, now time.Time) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	t := w.by[addr]
	if t == nil {
		return 0
	}
	pause := min(maxWait, time.Second<<min(t.n-1, 6))
	return max(0, t.last.Add(pause).Sub(now))
}

func (w *wrongTries) note(addr string, now time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.by == nil {
		w.by = map[string]*tries{}
	}
	if t := w.by[addr]; t != nil && now.Sub(t.last) < forgetTries {
		t.n, t.last = t.n+1, now
		return
	}
	if len(w.by) >= maxAddresses {
		oldest, at := "", now
		for a, t := range w.by {
			if t.last.Before(at) || oldest == "" {
				oldest, at = a, t.last
			}
		}
		delete(w.by, oldest)
	}
	w.by[addr] = &tries{n: 1, last: now}
}

func (w *wrongTries) forget(addr string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.by, addr)
}
