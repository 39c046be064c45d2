package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/gofiber/fiber/v2/middleware/compress"
	"github.com/gofiber/fiber/v2/middleware/helmet"
	"github.com/gofiber/fiber/v2/middleware/recover"
)

// Limits of this room. The body limit is far above any form here; the read
// timeout is what a phone on a poor line needs to send one.
const (
	bodyLimit    = 64 << 10
	readTimeout  = 15 * time.Second
	writeTimeout = 30 * time.Second
	idleTimeout  = 75 * time.Second
	deskTimeout  = 10 * time.Second
	minToken     = 16 // bytes; shorter ones can be guessed
	maxStreams   = 512
)

// contentPolicy lets a page load its own files and nothing else; no script or
// style inside a page runs.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// Config says whose pages these are and what they show.
type Config struct {
	Desk    Desk
	Phrases func(lang string) Phrases

	// Token opens the pages; at least 16 bytes. Empty only with Demo set, where
	// nothing is real and nobody signs in.
	Token string

	Service string // "Hearthline"
	Branch  string // the team's name, as it is shown
	// Zone is the branch's own time zone, for what belongs to no household. Nil is UTC.
	Zone *time.Location
	// Dispositions are the message keys offered at closing, in order.
	Dispositions []string
	// UnsignedFlows puts the banner on every page: no clinician has signed the flows.
	UnsignedFlows bool

	Demo *Demo

	// Mount, if set, adds routes that carry their own proof of who calls (signed
	// hooks, metrics): they come before sign-in and the checks on forms.
	Mount func(app *fiber.App)

	TrustedProxies []string
	Log            *slog.Logger // nil discards

	// Poll is how often the pulse is read; 0 is 250 ms.
	Poll time.Duration
	// Heartbeat is how often an open page hears that its line stands; 0 is 10 s,
	// or 1 s in the demo, whose clock may run fast.
	Heartbeat time.Duration
	// Clock is real time, for sessions and the age of things; nil is time.Now.
	Clock func() time.Time
}

// Site is the pages, ready to be served. Use Listen or Listener of the App, and
// Close to end: Shutdown of the App alone would wait for every open page.
type Site struct {
	*fiber.App
	cfg    Config
	log    *slog.Logger
	key    []byte // signs sessions and form tokens
	now    func() time.Time
	watch  *watch
	wrong  *wrongTries
	assets map[string]asset

	streamLife, flushTimeout, changeGap time.Duration
}

// New builds the pages and starts the watch. Close ends it.
func New(cfg Config) (*Site, error) {
	switch {
	case cfg.Desk == nil || cfg.Phrases == nil:
		return nil, errors.New("web: Desk and Phrases are needed")
	case cfg.Token == "" && cfg.Demo == nil:
		return nil, errors.New("web: no token; the pages of a service ask for one of at least 16 characters")
	case cfg.Token != "" && len(cfg.Token) < minToken:
		return nil, fmt.Errorf("web: the token has %d characters; give at least %d", len(cfg.Token), minToken)
	}
	if cfg.Service == "" {
		cfg.Service = "Hearthline"
	}
	if cfg.Zone == nil {
		cfg.Zone = time.UTC
	}
	if cfg.Poll == 0 {
		cfg.Poll = 250 * time.Millisecond
	}
	if cfg.Heartbeat == 0 {
		cfg.Heartbeat = 10 * time.Second
		if cfg.Demo != nil {
			cfg.Heartbeat = time.Second
		}
	}
	if cfg.Clock == nil {
		cfg.Clock = time.Now
	}
	s := &Site{cfg: cfg, log: cfg.Log, now: cfg.Clock, wrong: &wrongTries{}, assets: loadAssets(), streamLife: streamLife, flushTimeout: flushTimeout, changeGap: changeGap}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if cfg.Token != "" {
		s.key = derive(cfg.Token)
	} else {
		s.key = make([]byte, 32)
		if _, err := rand.Read(s.key); err != nil {
			return nil, fmt.Errorf("web: key of the demo's sessions: %w", err)
		}
	}
	s.App = fiber.New(fiber.Config{
		AppName:                 cfg.Service,
		Immutable:               true, // otherwise strings of one request are overwritten by the next
		DisableStartupMessage:   true,
		BodyLimit:               bodyLimit,
		ReadTimeout:             readTimeout,
		WriteTimeout:            writeTimeout,
		IdleTimeout:             idleTimeout,
		EnableTrustedProxyCheck: true, // without it everyone is trusted
		TrustedProxies:          cfg.TrustedProxies,
		ErrorHandler:            s.fail,
	})
	s.routes()
	s.watch = startWatch(cfg.Desk, cfg.Poll, cfg.Clock)
	return s, nil
}

// Close ends every open page's stream, then the server, then the watch.
func (s *Site) Close(ctx context.Context) error {
	s.watch.hangUp()
	err := s.ShutdownWithContext(ctx)
	s.watch.stop()
	return err
}

func (s *Site) routes() {
	s.Use(recover.New())
	if s.cfg.Mount != nil {
		s.cfg.Mount(s.App)
	}
	s.Use(helmet.New(helmet.Config{
		XFrameOptions:         "DENY",
		ContentSecurityPolicy: contentPolicy,
		// no-referrer would make browsers send "Origin: null" with our own forms.
		ReferrerPolicy:   "same-origin",
		PermissionPolicy: "camera=(), geolocation=(), microphone=()",
	}))
	s.Use(compress.New(compress.Config{
		Level: compress.LevelBestSpeed,
		Next:  func(c *fiber.Ctx) bool { return c.Path() == "/live" },
	}))
	s.Get("/static/:name", s.static)
	s.Use(noStore, patience, s.sameOrigin)
	if s.cfg.Token != "" {
		s.Get("/signin", s.signInPage)
		s.Post("/signin", s.signIn)
	}
	s.Use(s.admit, s.formToken)

	if s.cfg.Demo != nil {
		s.Get("/", s.startPage)
		s.Post("/name", s.rename)
		s.Get("/phones", s.phonesPage)
		s.Get("/phones/:n", s.phonesPage)
		s.Get("/phones/:n/thread", s.phoneThread)
		s.Post("/phones/:n/text", s.phoneType)
		s.Post("/clock", s.setClock)
	} else {
		s.Get("/", func(c *fiber.Ctx) error { return c.Redirect("/queue", fiber.StatusSeeOther) })
	}
	if s.cfg.Token != "" {
		s.Post("/signout", s.signOut)
	}
	s.Get("/live", s.live)
	s.Get("/queue", s.queuePage)
	s.Get("/queue/list", s.queueList)
	s.Get("/case/:household/:case", s.casePage)
	s.Get("/case/:household/:case/live", s.caseLive)
	s.Post("/case/:household/:case/:act", s.caseAct)
	s.Post("/segments", s.segments)
	s.Get("/households", s.householdsPage)
	s.Get("/households/list", s.householdsList)
	s.Get("/household/:household", s.householdPage)
	s.Get("/household/:household/live", s.householdLive)
	s.Post("/household/:household/pause", s.householdPause)
	s.Use(func(c *fiber.Ctx) error { return fiber.ErrNotFound })
}

// patience ends what the store does not answer: a page that says so is better
// than one that never comes.
func patience(c *fiber.Ctx) error {
	whole := c.UserContext()
	ctx, cancel := context.WithTimeout(whole, deskTimeout)
	defer cancel()
	c.SetUserContext(ctx)
	defer c.SetUserContext(whole) // the page that tells of an error is rendered after this
	return c.Next()
}

// noStore keeps pages with people's words out of every cache.
func noStore(c *fiber.Ctx) error {
	c.Set(fiber.HeaderCacheControl, "no-store")
	return c.Next()
}

// fail turns any error into a page. The cause is logged and never shown.
func (s *Site) fail(c *fiber.Ctx, err error) error {
	status, words := fiber.StatusInternalServerError, say("error.internal")
	var f *fiber.Error
	if errors.As(err, &f) {
		status = f.Code
		switch {
		case status == fiber.StatusNotFound || status == fiber.StatusMethodNotAllowed:
			words = say("error.not_found")
		case status < 500 && f != fiber.ErrBadRequest:
			words = f.Message // ours, or the framework's name of the status
		}
	}
	if status >= 500 {
		s.log.Error("page failed", "method", c.Method(), "route", c.Route().Path, "status", status, "error", err)
	}
	c.Status(status)
	return s.render(c, errorPage(s.frame(c, say("title.error"), ""), status, words))
}
