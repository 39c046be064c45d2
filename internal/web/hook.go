package web

import (
	"bytes"
	"context"
	"errors"
	"mime"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/carrier"
	"hearthline/internal/crash"
)

// HookConfig is what the hook of one branch needs.
type HookConfig struct {
	Path    string           // "/hook" if empty
	Secrets []carrier.Secret // of the signed gateway: any of them may have signed; none refuses everything
	Reader  carrier.Reader   // of another kind of gateway, in place of Secrets
	MaxBody int              // bytes, 64 KiB if 0
	Timeout time.Duration    // how long Accept may take, 5 s if 0
	Now     func() time.Time // the clock that messages are held against; nil is time.Now

	// Accept seals and stores what came. It returns once it is stored, fresh
	// being false if it was stored before under the same id.
	Accept func(ctx context.Context, in carrier.Incoming) (fresh bool, err error)
	// Note, if set, is told how each request ended: one of the Hook... words.
	Note func(outcome string)
	// Failed, if set, is told why Accept failed, for the log.
	Failed func(err error)
}

// How a request to the hook ended, for counting.
const (
	HookStored    = "stored"
	HookSeen      = "seen_before"
	HookNoNews    = "no_news"   // believed, but nothing to keep: a receipt for a text on its way
	HookRefused   = "refused"   // its form: method, type, size, fields
	HookUntrusted = "untrusted" // its signature or time
	HookFailed    = "failed"    // the store could not take it, or our own fault
)

// Defaults of HookConfig.
const (
	hookPath    = "/hook"
	hookMaxBody = 64 << 10
	hookTimeout = 5 * time.Second
	hookRetry   = 5 * time.Second // what a gateway is asked to wait when the store is down
)

// MountHook puts the signed hook of a branch on app.
//
// A message is believed before it is read, read before it is stored, and
// stored before it is answered with 200. An id that was stored before is
// answered with 200 as well. Every refusal says in one sentence what was wrong
// and what would be right, and leaves nothing stored.
func MountHook(app fiber.Router, cfg HookConfig) {
	if cfg.Path == "" {
		cfg.Path = hookPath
	}
	if cfg.MaxBody == 0 {
		cfg.MaxBody = hookMaxBody
	}
	if cfg.Timeout == 0 {
		cfg.Timeout = hookTimeout
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	if cfg.Reader == nil {
		cfg.Reader = carrier.Signed(cfg.Secrets)
	}
	app.All(cfg.Path, cfg.handle)
}

// hookAnswer is how a request ends.
type hookAnswer struct {
	status  int
	outcome string
	text    string
}

func (cfg *HookConfig) handle(c *fiber.Ctx) (err error) {
	defer func() {
		if p := recover(); p != nil {
			cfg.failed(errors.New("the hook panicked"))
			err = cfg.answer(c, hookAnswer{fiber.StatusInternalServerError, HookFailed, "Something failed on our side; send the message again, unchanged."})
		}
	}()
	return cfg.answer(c, cfg.take(c))
}

func (cfg *HookConfig) take(c *fiber.Ctx) hookAnswer {
	if bad := cfg.formProblem(c); bad.status != 0 {
		return bad
	}
	// Copies: the server uses its buffers again for the next request.
	post := carrier.Post{
		Query:  string(c.Request().URI().QueryString()),
		Body:   bytes.Clone(c.Request().Body()),
		Header: func(name string) string { return strings.Clone(c.Get(name)) },
	}
	now := cfg.Now()
	in, err := cfg.Reader.Read(post, now)
	switch {
	case errors.Is(err, carrier.ErrNoNews):
		return hookAnswer{fiber.StatusOK, HookNoNews, "nothing to keep"}
	case isUntrusted(err):
		return untrusted(err)
	case err != nil:
		return hookAnswer{fiber.StatusBadRequest, HookRefused, sentence(err)}
	}
	if in.At.IsZero() {
		in.At = now
	}
	crash.Here("hook-verified")
	ctx, cancel := context.WithTimeout(context.Background(), cfg.Timeout)
	defer cancel()
	fresh, err := cfg.Accept(ctx, in)
	if err != nil {
		cfg.failed(err)
		return hookAnswer{fiber.StatusServiceUnavailable, HookFailed, "The message could not be stored; send it again, unchanged but for time and signature."}
	}
	crash.Here("hook-accepted")
	if !fresh {
		return hookAnswer{fiber.StatusOK, HookSeen, "seen before"}
	}
	return hookAnswer{fiber.StatusOK, HookStored, "stored"}
}

// formProblem checks what can be told before the body is looked at.
func (cfg *HookConfig) formProblem(c *fiber.Ctx) hookAnswer {
	if c.Method() != fiber.MethodPost {
		c.Set(fiber.HeaderAllow, fiber.MethodPost)
		return hookAnswer{fiber.StatusMethodNotAllowed, HookRefused, "Only POST is taken here."}
	}
	if len(c.Request().Body()) > cfg.MaxBody {
		return hookAnswer{fiber.StatusRequestEntityTooLarge, HookRefused, "The body is too large; at most " + strconv.Itoa(cfg.MaxBody) + " bytes are taken."}
	}
	kind, _, err := mime.ParseMediaType(c.Get(fiber.HeaderContentType))
	if want := cfg.Reader.ContentType(); err != nil || kind != want {
		return hookAnswer{fiber.StatusUnsupportedMediaType, HookRefused, "The content type must be " + want + "."}
	}
	// What is signed is what was sent: nothing is unpacked before it is believed.
	if coding := c.Get(fiber.HeaderContentEncoding); coding != "" && coding != "identity" {
		return hookAnswer{fiber.StatusUnsupportedMediaType, HookRefused, "The body must be sent without a content encoding."}
	}
	return hookAnswer{}
}

func isUntrusted(err error) bool {
	for _, why := range []error{carrier.ErrNoID, carrier.ErrNoTimestamp, carrier.ErrNoSignature, carrier.ErrStale, carrier.ErrSignature} {
		if errors.Is(err, why) {
			return true
		}
	}
	return false
}

func untrusted(err error) hookAnswer {
	a := hookAnswer{fiber.StatusUnauthorized, HookUntrusted, sentence(err)}
	if errors.Is(err, carrier.ErrNoID) || errors.Is(err, carrier.ErrNoTimestamp) {
		a.status = fiber.StatusBadRequest
	}
	return a
}

func (cfg *HookConfig) failed(err error) {
	if cfg.Failed != nil {
		cfg.Failed(err)
	}
}

func (cfg *HookConfig) answer(c *fiber.Ctx, a hookAnswer) error {
	if cfg.Note != nil {
		cfg.Note(a.outcome)
	}
	if a.status == fiber.StatusServiceUnavailable {
		c.Set(fiber.HeaderRetryAfter, strconv.Itoa(int(hookRetry/time.Second)))
	}
	c.Status(a.status)
	if a.status == fiber.StatusOK {
		if mediaType, body := cfg.Reader.Answer(); mediaType != "" {
			c.Set(fiber.HeaderContentType, mediaType)
			return c.SendString(body)
		}
		return c.JSON(fiber.Map{"ok": a.text})
	}
	return c.JSON(fiber.Map{"error": a.text})
}

// sentence makes an error one plain sentence.
func sentence(err error) string {
	s := err.Error()
	return strings.ToUpper(s[:1]) + s[1:] + "."
}
