package engine

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"hearthline/internal/crash"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// Due decides on the households whose next instant has come, at most Batch of
// them, and returns how many it decided.
func (e *Engine) Due(ctx context.Context, now time.Time) (int, error) {
	homes, err := e.Store.Due(ctx, journal.At(now), Batch+e.failing.count())
	if err != nil {
		return 0, fmt.Errorf("due: %w", err)
	}
	var (
		all     sync.WaitGroup
		workers = make(chan struct{}, e.Workers)
		mu      sync.Mutex
		decided int
	)
	for _, home := range homes {
		one := func() {
			if e.dueOne(ctx, now, home) {
				mu.Lock()
				decided++
				mu.Unlock()
			}
		}
		if e.Workers == 1 {
			one()
			continue
		}
		all.Add(1)
		workers <- struct{}{}
		go func() {
			defer all.Done()
			defer func() { <-workers }()
			one()
		}()
	}
	all.Wait()
	return decided, ctx.Err()
}

func (e *Engine) dueOne(ctx context.Context, now time.Time, home journal.HouseholdID) bool {
	key := "due " + string(home)
	if !e.failing.mayTry(key, now) {
		return false
	}
	err := e.Event(ctx, now, home, household.Tick{})
	if err == nil {
		e.failing.forget(key)
		return true
	}
	if ctx.Err() == nil {
		n := e.failing.note(key, now, e.Jitter(), false)
		e.Log.Error("a due household could not be decided", "branch", string(e.Branch), "household", string(home), "try", n, "error", clean(err))
	}
	return false
}

// Event decides on one event of a household and commits it; again if the
// household changed meanwhile.
func (e *Engine) Event(ctx context.Context, now time.Time, home journal.HouseholdID, ev household.Event) error {
	var err error
	for range retries {
		if err = e.tryEvent(ctx, now, home, ev); !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	return err
}

func (e *Engine) tryEvent(ctx context.Context, now time.Time, home journal.HouseholdID, ev household.Event) error {
	w := e.world()
	s, err := e.load(ctx, home)
	if err != nil {
		return err
	}
	d, err := decide(w, s, now, ev)
	if err != nil {
		return err
	}
	if _, tick := ev.(household.Tick); !tick && len(d.Entries) == 0 {
		return nil // nothing follows; a tick is committed all the same, so that it is not due again
	}
	c, err := e.change(w, s, d)
	if err != nil {
		return err
	}
	crash.Here("event-decided")
	if err := e.Store.Commit(ctx, store.Change{Households: []store.HouseholdChange{c}}); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	e.decoded.put(d.State)
	crash.Here("event-committed")
	return nil
}
