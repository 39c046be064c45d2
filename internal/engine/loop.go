package engine

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"hearthline/internal/journal"
)

// The lease: held by one process of a branch, renewed each second, so that
// another takes over within 5 s of a death.
const (
	leaseFor   = 3 * time.Second
	renewEvery = time.Second
	pollEvery  = 100 * time.Millisecond
)

// Run holds the lease when it can, and while it does, decides and sends, until
// ctx ends; then it gives the lease up. Losing the lease stops nothing that is
// under way: Commit refuses what is stale.
func (e *Engine) Run(ctx context.Context) {
	var until atomic.Int64 // until when the lease is surely ours, on this machine's clock
	mine := func() bool { return time.Now().UnixMilli() < until.Load() }
	loops := []func(){
		func() { e.renew(ctx, &until) },
		func() { e.steps(ctx, mine, e.wake, e.Intake, e.Due) },
		func() {
			e.steps(ctx, mine, nil, func(ctx context.Context, now time.Time) (int, error) {
				return e.Send(ctx, now, journal.ClassTrouble)
			})
		},
		func() {
			e.steps(ctx, mine, nil, func(ctx context.Context, now time.Time) (int, error) {
				return e.Send(ctx, now, journal.ClassAnswer, journal.ClassReminder)
			})
		},
	}
	var all sync.WaitGroup
	for _, loop := range loops {
		all.Add(1)
		go func() { defer all.Done(); loop() }()
	}
	all.Wait()
	free, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if err := e.Store.Release(free, e.Holder); err != nil {
		e.Log.Warn("the lease was not given up; it runs out by itself", "branch", string(e.Branch), "error", clean(err))
	}
}

// renew takes and keeps the lease.
func (e *Engine) renew(ctx context.Context, until *atomic.Int64) {
	had := false
	for ctx.Err() == nil {
		asked := time.Now()
		call, cancel := context.WithTimeout(ctx, renewEvery)
		ok, err := e.Store.Hold(call, e.Holder, leaseFor, journal.Millis(e.round.Load()))
		cancel()
		if ok {
			until.Store(asked.Add(leaseFor).UnixMilli())
		} else if err == nil {
			until.Store(0)
		}
		if ok != had {
			e.Log.Info("engine lease", "branch", string(e.Branch), "held", ok)
			had = ok
		}
		if err != nil && ctx.Err() == nil {
			e.Log.Error("the lease could not be renewed", "branch", string(e.Branch), "error", clean(err))
		}
		pause(ctx, nil, renewEvery)
	}
}

// steps calls its steps round after round while the lease is ours, and rests
// when a round found nothing to do.
func (e *Engine) steps(ctx context.Context, mine func() bool, wake <-chan struct{}, steps ...func(context.Context, time.Time) (int, error)) {
	for ctx.Err() == nil {
		if !mine() {
			pause(ctx, nil, pollEvery)
			continue
		}
		did := 0
		now, err := e.Now(ctx)
		for _, step := range steps {
			if err != nil {
				break
			}
			var n int
			n, err = step(ctx, now)
			did += n
		}
		if err != nil && ctx.Err() == nil {
			e.Log.Error("a round failed", "branch", string(e.Branch), "error", clean(err))
			pause(ctx, nil, pollEvery)
			continue
		}
		if wake != nil {
			e.round.Store(now.UnixMilli())
		}
		if did == 0 {
			pause(ctx, wake, pollEvery)
		}
	}
}

func pause(ctx context.Context, wake <-chan struct{}, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-wake:
	case <-t.C:
	}
}
