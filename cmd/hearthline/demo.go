package main

import (
	"context"
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

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/seal"
	"hearthline/internal/sim"
	"hearthline/internal/store"
	"hearthline/internal/store/mem"
	redisstore "hearthline/internal/store/redis"
	"hearthline/internal/web"
)

type demoCmd struct {
	Listen string        `help:"Address of the pages; loopback only." default:"127.0.0.1:8090"`
	Seed   uint64        `help:"Everything random follows from it: same seed, same day." default:"1"`
	Speed  float64       `help:"How many seconds pass on the demo's clock in a real one; the pages can change it." default:"60"`
	Start  time.Time     `help:"When the households begin." default:"2026-11-30T12:00:00Z"`
	Ahead  time.Duration `help:"How long they have lived when the demo opens." default:"20h"`
	Flows  string        `help:"Folder of flows; the shipped ones if not given." type:"existingdir"`
	Memory bool          `help:"Keep nothing on disk, even where a redis-server is on the PATH."`
}

// Help is what --help adds.
func (demoCmd) Help() string {
	return `Thirteen invented households live through their days on a clock that you can speed up. You are the caregiver (pretend phones), the nurse (queue) and the coordinator (households) in turn.

Where a redis-server is on the PATH the demo runs on one of its own, in a folder that is gone when it ends; otherwise in memory.`
}

// tickEvery is how often, in real time, the demo looks at its clock.
const tickEvery = 40 * time.Millisecond

// Run runs the demo until it is stopped.
func (c *demoCmd) Run(s *streams) error {
	if !loopback(c.Listen) {
		return fmt.Errorf("--listen %s: the demo has no sign-in, so it listens on 127.0.0.1 or [::1] only", c.Listen)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	d, err := newDemo(ctx, c)
	if err != nil {
		return err
	}
	defer d.close(s)
	ln, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return err
	}
	at := "http://" + ln.Addr().String()
	fmt.Fprintf(s.out, `Hearthline demo: %d invented households, seed %d. %s

  Start here   %s/
  Phones       %s/phones       type as a caregiver: "gave 150 then he threw up twice"
  Nurse        %s/queue        the case is there within two seconds: claim it, write back, close it
  Coordinator  %s/households   what was given of what was prescribed, and what nobody reported

The clock runs %gx; the pages can change that. Stop with Ctrl-C.
This replaces neither a care team nor an emergency number; the flows are unsigned samples.
`, len(d.run.Homes), c.Seed, d.kept, at, at, at, at, c.Speed)
	return d.serve(ctx, ln)
}

// demo is the running demo.
type demo struct {
	run   *sim.Run
	clock *sim.Clock
	world *household.World
	store store.Branch
	kept  string // where things are kept, in one plain line
	end   func() error
	poke  chan struct{}
}

func newDemo(ctx context.Context, c *demoCmd) (*demo, error) {
	w, err := loadWorld(flowsFrom(c.Flows), pretendBranch())
	if err != nil {
		return nil, err
	}
	homes, err := sim.Scenario(w.Limits)
	if err != nil {
		return nil, err
	}
	keys, err := seal.NewEphemeral()
	if err != nil {
		return nil, err
	}
	d := &demo{world: w, poke: make(chan struct{}, 1), clock: sim.NewClock(c.Start.UTC(), time.Now)}
	if err := d.open(ctx, c.Memory); err != nil {
		return nil, err
	}
	d.run, err = sim.New(sim.Config{Homes: homes, Seed: c.Seed, Start: c.Start.UTC(), Clock: d.clock, Keys: keys,
		Store: d.store, World: func() *household.World { return w }})
	if err == nil {
		err = d.run.Enrol(ctx)
	}
	if err != nil {
		return nil, errors.Join(err, d.end())
	}
	if err := d.live(ctx, c.Ahead); err != nil {
		return nil, errors.Join(err, d.end())
	}
	d.clock.SetSpeed(c.Speed)
	return d, nil
}

// maxAhead bounds how long the households may have lived when the demo opens.
const maxAhead = 14 * 24 * time.Hour

// live lets the households live for a while before anybody looks, so that the
// demo opens in the middle of a night and not on empty pages.
func (d *demo) live(ctx context.Context, ahead time.Duration) error {
	if ahead < 0 || ahead > maxAhead {
		return fmt.Errorf("--ahead %s: give 0 to %s", ahead, maxAhead)
	}
	for m := time.Minute; m <= ahead; m += time.Minute {
		if err := d.run.Step(ctx, d.run.Start.Add(m)); err != nil {
			return err
		}
	}
	return nil
}

// open chooses the store: the Redis of REDIS_URL, a redis-server of the demo's
// own, or memory.
func (d *demo) open(ctx context.Context, memory bool) error {
	id := d.world.Branch.ID
	inMemory := func() {
		d.store = mem.New(d.clock.Now).Branch(id)
		d.end = func() error { return nil }
	}
	if memory {
		inMemory()
		d.kept = "Nothing is kept: the store is in memory."
		return nil
	}
	url := os.Getenv("REDIS_URL")
	dir := ""
	if url == "" {
		var err error
		if dir, err = os.MkdirTemp("", "hearthline-demo-"); err != nil {
			return err
		}
	}
	o, err := openRedis(ctx, url, filepath.Join(dir, "redis"))
	if errors.Is(err, redisstore.ErrNoServer) {
		inMemory()
		d.kept = "Nothing is kept: no redis-server is on the PATH, so the store is in memory."
		return os.RemoveAll(dir)
	}
	if err != nil {
		return err
	}
	d.end = o.Close
	d.kept = "It keeps its data in a redis-server of its own until it ends."
	if dir != "" {
		d.end = func() error { return errors.Join(o.Close(), os.RemoveAll(dir)) }
	} else {
		// A branch of its own each time, so that nothing meets what an earlier demo left.
		id = journal.BranchID(fmt.Sprintf("%s-%d", id, time.Now().UnixMilli()))
		d.world.Branch.ID = id
		d.kept = fmt.Sprintf("It keeps its data in the Redis of REDIS_URL, as branch %s; they stay there.", id)
	}
	d.store = o.Branch(id)
	return nil
}

func (d *demo) close(s *streams) {
	if err := d.end(); err != nil {
		fmt.Fprintln(s.err, "hearthline:", err)
	}
}

// serve runs pages and clock until ctx ends.
func (d *demo) serve(ctx context.Context, ln net.Listener) error {
	site, err := web.New(web.Config{Desk: d.run.Engine, Phrases: phrases(d.world), Service: d.world.Branch.Service, Branch: "demo",
		Zone: d.world.Branch.Zone, Dispositions: dispositions(d.world), UnsignedFlows: d.world.Protocols.Signed(time.Now()) != nil,
		Demo: &web.Demo{Phones: &demoPhones{d}, Clock: d.clock, Tries: tries}, Log: slog.New(slog.NewTextHandler(os.Stderr, nil))})
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var all sync.WaitGroup
	all.Add(2)
	go func() {
		defer all.Done()
		if err := site.Listener(ln); err != nil && ctx.Err() == nil {
			cancel(err)
		}
	}()
	go func() {
		defer all.Done()
		if err := d.tick(ctx); err != nil && ctx.Err() == nil {
			cancel(err)
		}
	}()
	<-ctx.Done()
	end, done := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer done()
	err = site.Close(end)
	all.Wait()
	if cause := context.Cause(ctx); cause != nil && !errors.Is(cause, context.Canceled) {
		return cause
	}
	return err
}

// tick moves the pretend world along with the clock, one virtual minute at a
// time, so that the same seed gives the same day at any speed.
func (d *demo) tick(ctx context.Context) error {
	at := d.clock.Now().Truncate(time.Minute)
	real := time.NewTicker(tickEvery)
	defer real.Stop()
	for {
		for target := d.clock.Now(); !at.Add(time.Minute).After(target) && ctx.Err() == nil; {
			at = at.Add(time.Minute)
			if err := d.run.Step(ctx, at); err != nil {
				return err
			}
		}
		now := d.clock.Now()
		if err := d.run.Settle(ctx, now); err != nil {
			return err
		}
		if _, err := d.store.Hold(ctx, "demo", time.Minute, journal.At(now)); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-d.poke:
		case <-real.C:
		}
	}
}

// tries are texts to try first.
var tries = map[string][]string{
	"en": {"gave 150 then he threw up twice", "all of it", "the tube came out", "only 4 oz, she fell asleep", "STOP"},
	"es": {"le di 150 y vomitó dos veces", "todo, 180", "se le salió la sonda", "la piel está roja alrededor"},
}
