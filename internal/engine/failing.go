package engine

import (
	"sync"
	"time"

	"hearthline/internal/carrier"
)

// maxFailing bounds how many failing items a round reads past.
const maxFailing = 2000

// failures remembers, in this process only, what could not be decided and when
// it may be tried again. A restart forgets it and tries at once.
type failures struct {
	mu  sync.Mutex
	all map[string]failure
}

type failure struct {
	tries int
	again time.Time
	odd   bool // the item itself cannot be understood
}

func (f *failures) count() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return min(len(f.all), maxFailing)
}

func (f *failures) mayTry(key string, now time.Time) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	was, known := f.all[key]
	return !known || !now.Before(was.again)
}

// odd reports whether what failed last was the item itself.
func (f *failures) odd(key string) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.all[key].odd
}

func (f *failures) note(key string, now time.Time, jitter float64, odd bool) int {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.all == nil {
		f.all = map[string]failure{}
	}
	was := f.all[key]
	was.tries++
	was.odd = odd
	was.again = now.Add(carrier.Backoff(was.tries, jitter))
	f.all[key] = was
	return was.tries
}

func (f *failures) forget(key string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.all, key)
}
