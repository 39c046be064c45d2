// Package engine carries decisions out: it takes the inbox and what fell due,
// lets household.Decide say what follows, and writes it with one Commit; and
// it hands the texts that Commit left in the outbox to the carrier.
//
// Its steps are bounded batches: Intake, Due, Send. The loop that calls them
// (Run) is short, and the simulator calls the same steps on its own clock.
// Everything that makes a crash harmless is in the store's Commit: an inbox
// item is gone only with its decision, a stale decision is refused.
package engine

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"hearthline/internal/carrier"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/seal"
	"hearthline/internal/store"
)

// Batch is how many inbox items, due households or texts a step takes at most.
const Batch = 64

// retries bounds how often a decision is made anew because the household
// changed under it.
const retries = 5

// Config is what an Engine is built of. All fields but Clock and Log are required.
type Config struct {
	Branch  journal.BranchID
	Store   store.Branch
	Keys    *seal.Keys
	World   func() *household.World // the snapshot to decide with; may change between rounds
	Carrier carrier.Carrier
	From    string // the branch's own sending number
	Holder  string // names this process in the lease
	Workers int    // decisions made side by side; 1 makes a run deterministic
	// Clock tells the time; nil asks the store. It must not go back.
	Clock func(context.Context) (time.Time, error)
	Log   *slog.Logger
	// Jitter spreads retries: a number from 0 up to 1.
	Jitter func() float64
}

// Engine decides and sends for one branch.
type Engine struct {
	Config
	latest   atomic.Int64 // newest time seen, Unix ms; time never goes back
	round    atomic.Int64 // end of the last full round, Unix ms
	wake     chan struct{}
	plans    memo
	decoded  states
	underWay phones
	trying   attempts
	failing  failures
}

// New returns an engine that is not running yet.
func New(c Config) *Engine {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Clock == nil {
		c.Clock = c.Store.Now
	}
	if c.Workers < 1 {
		c.Workers = 1
	}
	if c.Jitter == nil {
		c.Jitter = func() float64 { return 0.5 }
	}
	return &Engine{Config: c, wake: make(chan struct{}, 1)}
}

// Now is the branch's time. It is read once a round and never goes back.
func (e *Engine) Now(ctx context.Context) (time.Time, error) {
	t, err := e.Clock(ctx)
	if err != nil {
		return time.Time{}, err
	}
	ms := t.UnixMilli()
	for {
		seen := e.latest.Load()
		if ms <= seen {
			return time.UnixMilli(seen).UTC(), nil
		}
		if e.latest.CompareAndSwap(seen, ms) {
			return time.UnixMilli(ms).UTC(), nil
		}
	}
}

// world is the snapshot with a plan compiler that remembers.
func (e *Engine) world() *household.World {
	w := *e.World()
	w.Plan = func(in []household.InForce) (*planOf, error) { return e.plans.compile(in, w.Limits) }
	return &w
}

// nudge wakes the loop of this process at once; others see the inbox within a poll.
func (e *Engine) nudge() {
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// phones is the set of numbers to which a text is under way.
type phones struct {
	mu  sync.Mutex
	set map[string]bool
}

func (p *phones) take(number string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.set[number] {
		return false
	}
	if p.set == nil {
		p.set = map[string]bool{}
	}
	p.set[number] = true
	return true
}

func (p *phones) give(number string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.set, number)
}
