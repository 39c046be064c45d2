package carrier

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"hearthline/internal/journal"
)

// PaceConfig is how fast texts may leave one sending number.
type PaceConfig struct {
	PerSecond float64          // texts a second and sending number, above 0, at most 1,000
	Burst     int              // texts that may leave at once, 1 to 1,000
	Patience  time.Duration    // how long Send may wait for its turn; 0: not at all
	Now       func() time.Time // nil is time.Now; with a clock of another pace, Patience must be 0
}

// Paced hands texts to a carrier at no more than a rate for each sending
// number. A text whose turn does not come within Patience is Busy, with the
// time until its turn. So is one that comes while the carrier has asked that
// number to wait.
//
// A quarter of the burst (at least one text, if the burst is two or more) is
// kept from reminders, so that an answer to trouble need not stand behind a
// morning's peak of them.
type Paced struct {
	to  Carrier
	cfg PaceConfig

	mu    sync.Mutex
	lanes map[string]*lane
}

// lane is the pace of one sending number.
type lane struct {
	limit *rate.Limiter
	quiet time.Time // until when the carrier has asked us to wait
}

// lanesMost bounds how many sending numbers are told apart; more share one lane.
const lanesMost = 1000

// Pace wraps a carrier; an error names the field.
func Pace(to Carrier, cfg PaceConfig) (*Paced, error) {
	switch {
	case !(cfg.PerSecond > 0 && cfg.PerSecond <= 1000):
		return nil, fmt.Errorf("pace per_second: %v; it must be above 0 and at most 1000", cfg.PerSecond)
	case cfg.Burst < 1 || cfg.Burst > 1000:
		return nil, fmt.Errorf("pace burst: %d; it must be 1 to 1000", cfg.Burst)
	case cfg.Patience < 0:
		return nil, fmt.Errorf("pace patience: %s; it must not be below 0", cfg.Patience)
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	return &Paced{to: to, cfg: cfg, lanes: map[string]*lane{}}, nil
}

// Idempotent is as the carrier is.
func (p *Paced) Idempotent() bool { return p.to.Idempotent() }

// Send waits for the text's turn, within Patience, and hands it over.
func (p *Paced) Send(ctx context.Context, t Text) error {
	wait, err := p.turn(t)
	if err != nil {
		return err
	}
	if wait > 0 {
		timer := time.NewTimer(wait)
		defer timer.Stop()
		select {
		case <-timer.C:
		case <-ctx.Done():
			return &Busy{Why: "its turn had not come when time was up"}
		}
	}
	err = p.to.Send(ctx, t)
	var busy *Busy
	if errors.As(err, &busy) && busy.After > 0 {
		p.mu.Lock()
		defer p.mu.Unlock()
		l := p.lane(t.From)
		if until := p.cfg.Now().Add(busy.After); until.After(l.quiet) {
			l.quiet = until
		}
	}
	return err
}

// turn takes the text's turn and says how long until it comes, or Busy.
func (p *Paced) turn(t Text) (time.Duration, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now, l := p.cfg.Now(), p.lane(t.From)
	if wait := l.quiet.Sub(now); wait > 0 {
		return 0, &Busy{After: wait, Why: "the carrier asked this number to wait"}
	}
	if t.Class == journal.ClassReminder {
		spare := float64(0)
		if p.cfg.Burst >= 2 {
			spare = float64(max(p.cfg.Burst/4, 1))
		}
		if short := spare + 1 - l.limit.TokensAt(now); short > 0 {
			if wait := l.after(short); wait > p.cfg.Patience {
				return 0, &Busy{After: wait, Why: "texts leave this number no faster"}
			}
		}
	}
	r := l.limit.ReserveN(now, 1)
	wait := r.DelayFrom(now)
	if wait > p.cfg.Patience {
		r.CancelAt(now)
		return 0, &Busy{After: wait, Why: "texts leave this number no faster"}
	}
	return wait, nil
}

// after is the time in which so many tokens come.
func (l *lane) after(tokens float64) time.Duration {
	return time.Duration(tokens / float64(l.limit.Limit()) * float64(time.Second))
}

func (p *Paced) lane(from string) *lane {
	l := p.lanes[from]
	if l == nil && len(p.lanes) >= lanesMost {
		from = ""
		l = p.lanes[from]
	}
	if l == nil {
		l = &lane{limit: rate.NewLimiter(rate.Limit(p.cfg.PerSecond), p.cfg.Burst)}
		p.lanes[from] = l
	}
	return l
}
