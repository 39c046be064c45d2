package engine

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"strings"
	"sync"
	"time"

	"hearthline/internal/crash"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// Intake decides on the undecided items of the inbox, at most Batch of them,
// and returns how many it decided. Items of one household are decided one
// after another in the order in which they were stored. When the store fails,
// those behind wait their turn; an item that cannot be understood (errUndecided)
// holds back nothing: the text behind it may be the one that matters.
func (e *Engine) Intake(ctx context.Context, now time.Time) (int, error) {
	items, err := e.Store.Inbox(ctx, "", Batch+e.failing.count())
	if err != nil {
		return 0, fmt.Errorf("inbox: %w", err)
	}
	if len(items) == 0 {
		return 0, nil
	}
	crash.Here("intake-read")
	var (
		last    = map[journal.HouseholdID]*job{}
		jobs    []*job
		workers = make(chan struct{}, e.Workers)
		all     sync.WaitGroup
	)
	for _, raw := range items {
		j := &job{Item: raw, done: make(chan struct{})}
		j.homes, j.it, j.err = e.addressees(ctx, raw)
		for _, h := range j.homes {
			if before := last[h]; before != nil {
				j.after = append(j.after, before)
			}
			last[h] = j
		}
		jobs = append(jobs, j)
		if e.Workers == 1 {
			e.run(ctx, now, j)
			continue
		}
		all.Add(1)
		go func() {
			defer all.Done()
			for _, before := range j.after {
				<-before.done
			}
			workers <- struct{}{}
			defer func() { <-workers }()
			e.run(ctx, now, j)
		}()
	}
	all.Wait()
	decided := 0
	for _, j := range jobs {
		if j.ok {
			decided++
		}
	}
	return decided, ctx.Err()
}

// job is one inbox item on its way to its households.
type job struct {
	store.Item
	it    item
	homes []journal.HouseholdID
	after []*job
	done  chan struct{}
	ok    bool // decided
	odd   bool // cannot be understood; tried again later, behind those that follow
	err   error
}

// errUndecided: the trouble is with the item or its household, not with the store.
var errUndecided = errors.New("undecided")

// addressees says which households an item is for.
func (e *Engine) addressees(ctx context.Context, raw store.Item) ([]journal.HouseholdID, item, error) {
	it, err := e.openItem(raw.Blob)
	if err != nil {
		return nil, it, fmt.Errorf("%w: %w", errUndecided, err)
	}
	if it.Kind != "text" {
		home := journal.HouseholdOf(string(it.Text))
		if home == "" {
			return nil, it, nil // a receipt for a text that was never ours
		}
		return []journal.HouseholdID{home}, it, nil
	}
	key := e.Keys.PhoneKey(string(e.Branch), it.From)
	homes, err := e.Store.Find(ctx, key)
	if err != nil {
		return nil, it, fmt.Errorf("find households: %w", err)
	}
	if len(homes) == 0 {
		homes = []journal.HouseholdID{StrangerID(key)}
	}
	return homes, it, nil
}

// StrangerID is the code under which an unknown phone's texts are kept.
func StrangerID(key journal.PhoneKey) journal.HouseholdID {
	h := fnv.New64a()
	_, _ = h.Write([]byte(key)) // a hash never fails to write
	return journal.HouseholdID(fmt.Sprintf("%s%016x", journal.StrangerPrefix, h.Sum64()))
}

// run decides one job, unless one before it for the same household failed or
// its own last try was too short a while ago.
func (e *Engine) run(ctx context.Context, now time.Time, j *job) {
	defer close(j.done)
	for _, before := range j.after {
		if !before.ok && !before.odd {
			return
		}
	}
	if !e.failing.mayTry(string(j.Token), now) {
		j.odd = e.failing.odd(string(j.Token))
		return
	}
	err := j.err
	if err == nil {
		err = e.decideItem(ctx, now, j)
	}
	if err == nil || errors.Is(err, store.ErrGone) {
		e.failing.forget(string(j.Token))
		j.ok = true
		return
	}
	if ctx.Err() != nil {
		return
	}
	j.odd = errors.Is(err, errUndecided)
	n := e.failing.note(string(j.Token), now, e.Jitter(), j.odd)
	e.Log.Error("a text could not be decided", "branch", string(e.Branch), "token", string(j.Token), "try", n, "error", clean(err))
	if n == 1 && j.odd {
		e.raw(ctx, now, j, err)
	}
}

// decideItem decides on one item for all its households in one Commit; again
// if one of them changed meanwhile.
func (e *Engine) decideItem(ctx context.Context, now time.Time, j *job) error {
	var err error
	for range retries {
		if err = e.tryItem(ctx, now, j); !errors.Is(err, store.ErrStale) {
			return err
		}
	}
	return err
}

func (e *Engine) tryItem(ctx context.Context, now time.Time, j *job) error {
	w := e.world()
	change := store.Change{Token: j.Token}
	states := make([]household.State, len(j.homes))
	var after []household.State
	for i, home := range j.homes {
		var err error
		if states[i], err = e.load(ctx, home); err != nil {
			return err
		}
	}
	events := j.events(states)
	for i, s := range states {
		ev, told := events[i]
		if !told {
			continue
		}
		if _, isReceipt := ev.(household.ReceiptCame); isReceipt && s.Version == 0 {
			continue // a receipt for a household that was never there
		}
		d, err := decide(w, s, now, ev)
		if err != nil {
			return fmt.Errorf("%w: %w", errUndecided, err)
		}
		if len(d.Entries) == 0 {
			continue
		}
		c, err := e.change(w, s, d)
		if err != nil {
			return fmt.Errorf("%w: %w", errUndecided, err)
		}
		change.Households = append(change.Households, c)
		after = append(after, d.State)
	}
	crash.Here("item-decided")
	if err := e.Store.Commit(ctx, change); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	for _, s := range after {
		e.decoded.put(s)
	}
	crash.Here("item-committed")
	return nil
}

// events says what each household of the job is told, by its index.
func (j *job) events(states []household.State) map[int]household.Event {
	out := map[int]household.Event{}
	if j.it.Kind != "text" {
		for i := range states {
			out[i] = household.ReceiptCame{Text: j.it.Text, Status: j.it.Status, Why: j.it.Why}
		}
		return out
	}
	came := household.TextCame{CarrierID: j.it.Carrier, From: j.it.From, Body: j.it.Body, Got: j.Got, Files: j.it.Files}
	for i, ev := range household.Route(states, came) {
		out[i] = ev
	}
	return out
}

// decide is Decide with a panic turned into an error: a text never stops the engine.
func decide(w *household.World, s household.State, now time.Time, ev household.Event) (d household.Decision, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("decide on %T: panic: %v", ev, p)
		}
	}()
	return household.Decide(w, s, now, ev)
}

// raw puts a text that could not be decided before a nurse at once, beside its
// household and with nothing of it: as a case of its own under a code made
// from the item, so that doing it twice makes one. The item stays in the inbox
// and is tried again.
func (e *Engine) raw(ctx context.Context, now time.Time, j *job, why error) {
	w := e.world()
	s := household.State{ID: StrangerID(journal.PhoneKey("failed " + string(j.Token)))}
	d, err := decide(w, s, now, household.Failed{From: j.it.From, Body: j.it.Body, Why: clean(why)})
	if err == nil {
		var c store.HouseholdChange
		if c, err = e.change(w, s, d); err == nil {
			err = e.Store.Commit(ctx, store.Change{Households: []store.HouseholdChange{c}})
		}
	}
	if err != nil && !errors.Is(err, store.ErrStale) {
		e.Log.Error("a text that could not be decided could not be shown to a nurse either", "branch", string(e.Branch), "token", string(j.Token), "error", clean(err))
	}
}

// clean shortens an error for a log line. Errors of this room and below name
// codes, tokens and fields, never a text or a phone.
func clean(err error) string {
	s := strings.ReplaceAll(err.Error(), "\n", "; ")
	if len(s) > 300 {
		s = s[:300]
	}
	return s
}
