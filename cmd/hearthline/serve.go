package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/carrier"
	"hearthline/internal/engine"
	"hearthline/internal/household"
	redisstore "hearthline/internal/store/redis"
	"hearthline/internal/web"
)

type serveCmd struct {
	Config           string `help:"Configuration file; the README shows one." type:"existingfile" required:"" env:"HEARTHLINE_CONFIG"`
	UnsignedFlows    bool   `help:"Run although no clinician has signed the flows; every page says so."`
	WeakerDurability bool   `help:"Run although Redis may lose what it acknowledged; says what."`
}

// Help is what --help adds.
func (serveCmd) Help() string {
	return `Texts come in by a signed hook and go out by a signed HTTP gateway (Standard Webhooks). Redis is the one at redis_url or REDIS_URL; without either, a redis-server found on the PATH is started on the data folder.

The environment stands over the file: REDIS_URL, HEARTHLINE_TOKEN, HEARTHLINE_IN_SECRETS, HEARTHLINE_OUT_SECRETS, HEARTHLINE_OUT_URL, HEARTHLINE_PAGES, HEARTHLINE_HOOK, HEARTHLINE_DATA_DIR, HEARTHLINE_KEY_FILE.

The pages listen on loopback only and ask for the configured token.`
}

// stopWithin bounds a graceful stop.
const stopWithin = 5 * time.Second

// pacePatience is how long a text waits for its number's turn before it goes
// back to the outbox.
const pacePatience = 2 * time.Second

// What a request to a hook of its own may take: the body is bounded again,
// with a better answer, by the hook itself.
const (
	hookBody = 256 << 10
	hookRead = 15 * time.Second
)

// Run serves until it is told to stop.
func (c *serveCmd) Run(s *streams) error {
	set, err := loadConfig(c.Config, os.Getenv)
	if err != nil {
		return err
	}
	set.UnsignedFlows = set.UnsignedFlows || c.UnsignedFlows
	set.Weaker = set.Weaker || c.WeakerDurability
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return serve(ctx, set, slog.New(slog.NewTextHandler(s.err, nil)))
}

// serve runs one branch until ctx ends.
func serve(ctx context.Context, set *settings, log *slog.Logger) error {
	w, err := loadWorld(flowsFrom(set.Flows), set.branch)
	if err != nil {
		return err
	}
	unsigned := w.Protocols.Signed(time.Now())
	if unsigned != nil && !set.UnsignedFlows {
		return fmt.Errorf("the flows are not signed: %w; have a licensed clinician sign them, or say --unsigned-flows", unsigned)
	}
	homes, err := set.households(w)
	if err != nil {
		return err
	}
	kept, err := openRedis(ctx, set.RedisURL, filepath.Join(set.Data, "redis"))
	if errors.Is(err, redisstore.ErrNoServer) {
		return fmt.Errorf("no store: set redis_url (or REDIS_URL), or install one (apt-get install redis-server): %w", err)
	}
	if err != nil {
		return err
	}
	defer func() {
		if err := kept.Close(); err != nil {
			log.Error("the store did not close cleanly", "error", err)
		}
	}()
	for _, f := range kept.findings {
		log.Warn("the store may lose what it acknowledged", "finding", f)
	}
	if len(kept.findings) > 0 && !set.Weaker {
		return fmt.Errorf("the store may lose what it acknowledged: %s; mend it, or say --weaker-durability", kept.findings[0])
	}
	keys, err := set.keys()
	if err != nil {
		return err
	}
	gateway, err := carrier.NewGateway(carrier.GatewayConfig{URL: set.Out.URL, Secrets: set.outSecrets, From: set.Out.From, Plain: set.Out.PlainHTTP})
	if err != nil {
		return fmt.Errorf("configuration: out: %w", err)
	}
	var out carrier.Carrier = gateway
	if set.Out.PerSecond > 0 {
		out, err = carrier.Pace(gateway, carrier.PaceConfig{PerSecond: set.Out.PerSecond, Burst: max(1, int(set.Out.PerSecond)), Patience: pacePatience})
		if err != nil {
			return fmt.Errorf("configuration: out.per_second: %w", err)
		}
	}
	eng := engine.New(engine.Config{Branch: set.branch.ID, Store: kept.Branch(set.branch.ID), Keys: keys, World: func() *household.World { return w },
		Carrier: out, From: set.Out.From, Holder: holder(), Workers: 8, Log: log, Jitter: jitter})
	for _, h := range homes {
		if n := len(h.warnings); n > 0 { // what it is says enrol, not a log: it is about a person
			log.Info("something stands out in an order, and was confirmed", "household", string(h.id), "count", n)
		}
		if err := eng.Do(ctx, h.id, h.enrol); err != nil {
			return fmt.Errorf("household %s: %w", h.id, err)
		}
	}
	return set.listen(ctx, eng, w, unsigned != nil, log)
}

func (set *settings) households(w *household.World) ([]onFile, error) {
	if set.Households == "" {
		return nil, nil
	}
	files, err := householdFiles(set.Households)
	if err != nil {
		return nil, err
	}
	return readHouseholds(files, set.Region, w.Limits)
}

// listen serves hook and pages and runs the engine until ctx ends or one of
// them fails.
func (set *settings) listen(ctx context.Context, eng *engine.Engine, w *household.World, unsigned bool, log *slog.Logger) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	hook := web.HookConfig{Path: set.In.Path, Secrets: set.inSecrets, Accept: eng.Accept,
		Failed: func(err error) { log.Error("the hook could not store what came", "error", err) }}
	cfg := web.Config{Desk: eng, Phrases: phrases(w), Token: set.Token, Service: set.branch.Service, Branch: string(set.branch.ID),
		Zone: set.branch.Zone, Dispositions: dispositions(w), UnsignedFlows: unsigned, Log: log}
	if set.Hook == "" {
		cfg.Mount = func(app *fiber.App) { web.MountHook(app, hook) }
	}
	site, err := web.New(cfg)
	if err != nil {
		return err
	}
	pages, err := net.Listen("tcp", set.Pages)
	if err != nil {
		return fmt.Errorf("pages: %w", err)
	}
	var all sync.WaitGroup
	start := func(what string, f func() error) {
		all.Add(1)
		go func() {
			defer all.Done()
			if err := f(); err != nil && ctx.Err() == nil {
				cancel(fmt.Errorf("%s: %w", what, err))
			}
		}()
	}
	start("pages", func() error { return site.Listener(pages) })
	hookAt := pages.Addr()
	var hookApp *fiber.App
	if set.Hook != "" {
		ln, err := net.Listen("tcp", set.Hook)
		if err != nil {
			return errors.Join(fmt.Errorf("hook: %w", err), site.Close(ctx))
		}
		hookAt = ln.Addr()
		hookApp = fiber.New(fiber.Config{Immutable: true, DisableStartupMessage: true, BodyLimit: hookBody, ReadTimeout: hookRead})
		web.MountHook(hookApp, hook)
		start("hook", func() error { return hookApp.Listener(ln) })
	}
	start("engine", func() error { eng.Run(ctx); return nil })
	log.Info("serving", "pages", pages.Addr().String(), "hook", hookAt.String(), "branch", string(set.branch.ID), "flows", w.Protocols.Version())
	<-ctx.Done()
	end, done := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer done()
	if hookApp != nil {
		err = hookApp.ShutdownWithContext(end)
	}
	err = errors.Join(err, site.Close(end))
	all.Wait()
	if cause := context.Cause(ctx); cause != nil && !errors.Is(cause, context.Canceled) {
		return errors.Join(cause, err)
	}
	log.Info("stopped")
	return err
}

// holder names this process in the engine's lease.
func holder() string {
	b := make([]byte, 8)
	if _, err := rand.Read(b); err != nil {
		panic(err) // Go's own generator does not fail
	}
	return fmt.Sprintf("%d-%s", os.Getpid(), hex.EncodeToString(b))
}

func jitter() float64 {
	b := make([]byte, 1)
	if _, err := rand.Read(b); err != nil {
		panic(err) // Go's own generator does not fail
	}
	return float64(b[0]) / 256
}
