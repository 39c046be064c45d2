package sim

import (
	"sync"
	"time"
)

// Clock is a virtual clock. It stands still until it is moved; with a speed it
// also runs as real time passes.
type Clock struct {
	mu    sync.Mutex
	now   time.Time // the virtual time at since
	since time.Time // real
	speed float64
	real  func() time.Time
}

// maxSpeed bounds how fast the clock runs: a day in a little over a minute.
const maxSpeed = 1200

// NewClock starts a clock at a virtual instant. real is the clock it follows
// when it has a speed.
func NewClock(start time.Time, real func() time.Time) *Clock {
	return &Clock{now: start, since: real(), real: real}
}

// Now is the virtual time.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at()
}

func (c *Clock) at() time.Time {
	if c.speed == 0 {
		return c.now
	}
	return c.now.Add(time.Duration(float64(c.real().Sub(c.since)) * c.speed))
}

// Speed is how many virtual seconds pass in a real one.
func (c *Clock) Speed() float64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.speed
}

// SetSpeed changes how fast the clock runs; 0 stops it. Beyond its bounds the
// speed is the nearest bound.
func (c *Clock) SetSpeed(x float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now, c.since = c.at(), c.real()
	c.speed = min(max(x, 0), maxSpeed)
}

// Skip moves the clock forward at once, by at most a day.
func (c *Clock) Skip(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now, c.since = c.at().Add(min(max(d, 0), 24*time.Hour)), c.real()
}

// set moves the clock to t; never back.
func (c *Clock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.After(c.now) {
		c.now, c.since = t, c.real()
	}
}
