package web

import (
	"context"
	"fmt"
	"sync"
	"time"

	"hearthline/internal/store"
)

// watch reads the branch's pulse a few times a second, once for all open pages,
// and wakes them when something changed.
type watch struct {
	desk  Desk
	clock func() time.Time
	quit  context.CancelFunc
	ended chan struct{}

	mu     sync.Mutex
	seen   sighting
	stale  bool // as the pages were last told
	subs   map[*sub]struct{}
	hungUp bool
}

// sighting is what the watch last saw. Its times are real time: the service's
// own clock may be the demo's.
type sighting struct {
	Pulse  store.Pulse
	Moved  time.Time // when the engine was last seen to have finished a round
	Failed time.Time // since when the pulse cannot be read; zero: it can
	ever   bool
}

// stale reports whether the engine has been silent for too long at now.
func (s sighting) stale(now time.Time) bool {
	return s.Moved.IsZero() || now.Sub(s.Moved) > staleAfter
}

// sub is one open page. Its wake holds at most one call: a page that is slow is
// called once for any number of changes, and nobody waits for it.
type sub struct {
	wake chan struct{}
	gone chan struct{} // closed when the site ends
}

// pulseTimeout bounds one reading, so that a store that hangs is seen as failing.
const pulseTimeout = 3 * time.Second

func startWatch(desk Desk, every time.Duration, clock func() time.Time) *watch {
	ctx, quit := context.WithCancel(context.Background())
	w := &watch{desk: desk, clock: clock, quit: quit, ended: make(chan struct{}), subs: map[*sub]struct{}{}}
	w.look(ctx)
	go func() {
		defer close(w.ended)
		t := time.NewTicker(every)
		defer t.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-t.C:
				w.look(ctx)
			}
		}
	}()
	return w
}

// look reads the pulse once.
func (w *watch) look(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, pulseTimeout)
	defer cancel()
	p, err := w.pulse(ctx)
	var age time.Duration
	if err == nil && !w.seen.ever && p.Round != 0 {
		// The first sight of a round: how old it is, only the service's clock says.
		var now time.Time
		if now, err = w.desk.Now(ctx); err == nil {
			age = max(0, now.Sub(p.Round.Time()))
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.clock()
	defer func() {
		// Silence changes nothing in the store: the pages must be told of it.
		if stale := w.seen.stale(now); stale != w.stale {
			w.stale = stale
			w.wakeAll()
		}
	}()
	if err != nil {
		if w.seen.Failed.IsZero() {
			w.seen.Failed = now
			w.wakeAll()
		}
		return
	}
	changed := !w.seen.ever || p.Revision != w.seen.Pulse.Revision || !w.seen.Failed.IsZero()
	if p.Round != 0 && (!w.seen.ever || p.Round != w.seen.Pulse.Round) {
		w.seen.Moved = now.Add(-age)
	}
	w.seen.Pulse, w.seen.Failed, w.seen.ever = p, time.Time{}, true
	if changed {
		w.wakeAll()
	}
}

// pulse reads the pulse; a fault there must not end the process, nor the watch.
func (w *watch) pulse(ctx context.Context) (p store.Pulse, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("pulse: %v", r)
		}
	}()
	return w.desk.Pulse(ctx)
}

func (w *watch) wakeAll() {
	for s := range w.subs {
		select {
		case s.wake <- struct{}{}:
		default:
		}
	}
}

func (w *watch) sight() sighting {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.seen
}

// join hangs a page on the watch; nil where there are too many, or the site is ending.
func (w *watch) join() *sub {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.hungUp || len(w.subs) >= maxStreams {
		return nil
	}
	s := &sub{wake: make(chan struct{}, 1), gone: make(chan struct{})}
	w.subs[s] = struct{}{}
	return s
}

func (w *watch) leave(s *sub) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.subs, s)
}

func (w *watch) open() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.subs)
}

// hangUp ends every page's stream and takes no new ones.
func (w *watch) hangUp() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.hungUp {
		return
	}
	w.hungUp = true
	for s := range w.subs {
		close(s.gone)
	}
}

func (w *watch) stop() {
	w.quit()
	<-w.ended
}
