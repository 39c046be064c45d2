package sim

import (
	"container/heap"
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"hearthline/internal/carrier"
	"hearthline/internal/engine"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/seal"
	"hearthline/internal/store"
)

// Sender is the number that the pretend branch sends from.
const Sender = "+12025550100"

// nurseAfter is how long the pretend nurse of a simulation takes to claim a
// case, and again to close it.
const nurseAfter = 12 * time.Minute

// maxRounds bounds the rounds at one instant: a household that is due again
// and again without end would otherwise stop the clock.
const maxRounds = 10_000

// Config is what a Run is built of.
type Config struct {
	Homes []Home
	Seed  uint64
	Start time.Time
	Store store.Branch
	Keys  *seal.Keys
	World func() *household.World
	Clock *Clock
	Nurse bool // a pretend nurse claims and closes cases
	Log   *slog.Logger
}

// Run is pretend households on one engine and one virtual clock. Step and
// what it calls run on one goroutine at a time.
type Run struct {
	Config
	Engine   *engine.Engine
	Phones   *carrier.Phones
	families map[journal.HouseholdID]*family
	byPhone  map[string][]journal.HouseholdID
	voices   voices
	random   *rand.Rand // for what the carrier does

	mu    sync.Mutex
	plans messages
	cases map[journal.CaseID]time.Time // when the nurse acts next
	heard []string                     // phones that got a text since the last look
	taken map[string]bool              // phones that a real person has taken over
	Twice int                          // texts that the carrier brought twice, on purpose
}

// New builds a run. Enrol puts the households on file.
func New(c Config) (*Run, error) {
	r := &Run{Config: c, families: map[journal.HouseholdID]*family{}, byPhone: map[string][]journal.HouseholdID{},
		random: rand.New(rand.NewPCG(c.Seed, 1)), cases: map[journal.CaseID]time.Time{}, taken: map[string]bool{}}
	if err := read("voices.yaml", &r.voices); err != nil {
		return nil, err
	}
	r.Phones = carrier.NewPhones(fmt.Sprintf("sim-%d", c.Seed), c.Clock.Now)
	r.Phones.Listen(func(t carrier.PhoneText) {
		if t.Ours {
			r.mu.Lock()
			r.heard = append(r.heard, t.Phone)
			r.mu.Unlock()
		}
	})
	r.Engine = engine.New(engine.Config{Branch: c.World().Branch.ID, Store: c.Store, Keys: c.Keys, World: c.World, Carrier: r.Phones,
		From: Sender, Holder: "sim", Workers: 1, Log: c.Log,
		Clock: func(context.Context) (time.Time, error) { return c.Clock.Now(), nil }})
	for _, h := range c.Homes {
		r.families[h.ID] = newFamily(h, c.Seed)
		for _, g := range h.Enrol.Who.Caregivers {
			r.byPhone[g.Phone] = append(r.byPhone[g.Phone], h.ID)
		}
		for _, m := range r.families[h.ID].sayings(c.Start) {
			heap.Push(&r.plans, m)
		}
	}
	return r, nil
}

// Enrol puts the households on file that are not yet there.
func (r *Run) Enrol(ctx context.Context) error {
	for _, h := range r.Homes {
		s, err := r.Engine.Household(ctx, h.ID)
		if err != nil {
			return err
		}
		if s.Version > 0 {
			continue
		}
		if err := r.Engine.Do(ctx, h.ID, h.Enrol); err != nil {
			return fmt.Errorf("enrol %s: %w", h.ID, err)
		}
	}
	return nil
}

// Step moves the clock to t and lets everything happen that is due by then.
func (r *Run) Step(ctx context.Context, t time.Time) error {
	r.Clock.set(t)
	for _, m := range r.ready(t) {
		if err := r.deliver(ctx, m); err != nil {
			return err
		}
	}
	if err := r.Settle(ctx, t); err != nil {
		return err
	}
	if r.Nurse {
		return r.nurse(ctx, t)
	}
	return nil
}

// Settle lets the engine work at t until nothing is left to do, then lets the
// families make up their minds about what they got.
func (r *Run) Settle(ctx context.Context, t time.Time) error {
	for range maxRounds {
		did := 0
		for _, step := range []func(context.Context, time.Time) (int, error){
			r.Engine.Intake, r.Engine.Due,
			func(ctx context.Context, t time.Time) (int, error) { return r.Engine.Send(ctx, t) },
		} {
			n, err := step(ctx, t)
			if err != nil {
				return err
			}
			did += n
		}
		if did == 0 {
			return r.listen(ctx, t)
		}
	}
	return fmt.Errorf("the engine did not come to rest at %s", t.Format(time.RFC3339))
}

// ready takes what pretend caregivers send by t.
func (r *Run) ready(t time.Time) []message {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []message
	for len(r.plans) > 0 && !r.plans[0].at.After(t) {
		m := heap.Pop(&r.plans).(message)
		if !r.taken[m.from] {
			out = append(out, m)
		}
	}
	return out
}

// deliver brings a caregiver's text to the inbox; one in fifty comes twice, as
// carriers do.
func (r *Run) deliver(ctx context.Context, m message) error {
	if m.settles != "" {
		s, err := r.Engine.Household(ctx, m.home)
		if err != nil {
			return err
		}
		for _, p := range s.Prompts {
			if p.ID == m.settles && p.Settled {
				return nil
			}
		}
	}
	in := r.Phones.Type(m.from, Sender, m.body, 0)
	if _, err := r.Engine.Accept(ctx, in); err != nil {
		return err
	}
	if r.random.IntN(50) == 0 {
		r.Twice++
		fresh, err := r.Engine.Accept(ctx, in)
		if err != nil {
			return err
		}
		if fresh {
			return errors.New("a text that came twice was stored twice")
		}
	}
	return nil
}

// listen lets each family that got a text make up its mind about it.
func (r *Run) listen(ctx context.Context, t time.Time) error {
	r.mu.Lock()
	heard := r.heard
	r.heard = nil
	r.mu.Unlock()
	for _, phone := range heard {
		for _, id := range r.byPhone[phone] {
			s, err := r.Engine.Household(ctx, id)
			if err != nil {
				return err
			}
			for _, p := range s.Prompts {
				if p.Settled {
					continue
				}
				if m := r.families[id].hears(p, phone, t, r.voices); m != nil {
					r.mu.Lock()
					heap.Push(&r.plans, *m)
					r.mu.Unlock()
				}
			}
		}
	}
	return nil
}

// nurse is the pretend nurse of a simulation: she claims a case some time
// after it opened and closes it some time after that.
func (r *Run) nurse(ctx context.Context, t time.Time) error {
	queue, _, err := r.Engine.Queue(ctx, 1000)
	if err != nil {
		return err
	}
	for _, c := range queue {
		if _, known := r.cases[c.ID]; !known {
			f := fnv.New64a()
			_, _ = f.Write([]byte(c.ID)) // a hash never fails to write
			r.cases[c.ID] = t.Add(nurseAfter + time.Duration(f.Sum64()%30)*time.Minute)
			continue
		}
		if t.Before(r.cases[c.ID]) {
			continue
		}
		var act household.Event = household.Claim{By: "staff:sim", Case: c.ID}
		if c.Status == household.CaseClaimed {
			act = household.Close{By: "staff:sim", Case: c.ID, Disposition: Disposition, Note: "simulated"}
			delete(r.cases, c.ID)
		} else {
			r.cases[c.ID] = t.Add(nurseAfter)
		}
		if err := r.Engine.Do(ctx, c.Household, act); err != nil {
			return err
		}
	}
	return nil
}

// TakeOver says that a real person types on a phone from now on: its pretend
// owner falls silent.
func (r *Run) TakeOver(phone string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.taken[phone] = true
}

// messages is a heap by time, then by phone and text, so that it has one order only.
type messages []message

func (m messages) Len() int { return len(m) }
func (m messages) Less(i, j int) bool {
	a, b := m[i], m[j]
	if !a.at.Equal(b.at) {
		return a.at.Before(b.at)
	}
	if a.home != b.home {
		return a.home < b.home
	}
	return a.body < b.body
}
func (m messages) Swap(i, j int) { m[i], m[j] = m[j], m[i] }

// Push and Pop are for container/heap.
func (m *messages) Push(x any) { *m = append(*m, x.(message)) }

// Pop takes the last element.
func (m *messages) Pop() any {
	old := *m
	last := old[len(old)-1]
	*m = old[:len(old)-1]
	return last
}
