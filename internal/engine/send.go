package engine

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"hearthline/internal/carrier"
	"hearthline/internal/crash"
	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// sendLease is how long a taken text is nobody else's: longer than a carrier
// may take to answer (15 s), so that it is not sent twice while it is under way,
// and no longer than an answer to trouble may be late after a sender's death.
const sendLease = 20 * time.Second

// maxTries bounds how often a text is handed over before it is given up.
const maxTries = 10

// Send hands texts of the first class that has any to the carrier, at most
// Batch of them, and returns how many were handed over or given up.
func (e *Engine) Send(ctx context.Context, now time.Time, classes ...journal.Class) (int, error) {
	if len(classes) == 0 {
		classes = []journal.Class{journal.ClassTrouble, journal.ClassAnswer, journal.ClassReminder}
	}
	for _, class := range classes {
		out, err := e.Store.Take(ctx, class, journal.At(now), journal.At(now.Add(sendLease)), Batch)
		if err != nil {
			return 0, fmt.Errorf("take texts: %w", err)
		}
		if len(out) > 0 {
			crash.Here("send-taken")
			return e.wave(ctx, now, out)
		}
	}
	return 0, nil
}

// wave hands over texts that were taken: texts to one phone one after another
// in their order, different phones side by side.
func (e *Engine) wave(ctx context.Context, now time.Time, out []store.Out) (int, error) {
	var order []string
	to := map[string][]sending{}
	for _, o := range out {
		var t carrier.Text
		plain, err := e.open("", "out", o.Blob)
		if err == nil {
			err = json.Unmarshal(plain, &t)
		}
		if err != nil {
			e.Log.Error("a text out cannot be opened", "branch", string(e.Branch), "text", string(o.ID), "error", clean(err))
			continue // it stays in the outbox; its lease runs out and it is tried again
		}
		if to[t.To] == nil {
			order = append(order, t.To)
		}
		to[t.To] = append(to[t.To], sending{o, t})
	}
	var (
		all   sync.WaitGroup
		mu    sync.Mutex
		moved int
		fails []error
	)
	workers := make(chan struct{}, max(1, e.Workers*4))
	for _, phone := range order {
		one := func() {
			n, err := e.sendTo(ctx, now, phone, to[phone])
			mu.Lock()
			defer mu.Unlock()
			moved += n
			if err != nil {
				fails = append(fails, err)
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
	return moved, errors.Join(fails...)
}

type sending struct {
	store.Out
	text carrier.Text
}

// sendTo hands the texts to one phone over, one at a time. If another text is
// under way to it, or one is put off, those behind it wait.
func (e *Engine) sendTo(ctx context.Context, now time.Time, phone string, texts []sending) (int, error) {
	free := e.underWay.take(phone)
	if free {
		defer e.underWay.give(phone)
	}
	moved, wait := 0, !free
	for _, s := range texts {
		if wait {
			err := e.Store.Settle(ctx, store.Settlement{ID: s.ID, Class: s.Class, Later: journal.At(now.Add(time.Second)), Now: journal.At(now)})
			if err != nil {
				return moved, fmt.Errorf("put off %s: %w", s.ID, err)
			}
			continue
		}
		settled, err := e.hand(ctx, now, s)
		if err != nil {
			return moved, err
		}
		if settled {
			moved++
		}
		wait = !settled
	}
	return moved, nil
}

// hand gives one text to the carrier and settles it by the answer. settled is
// false if the text is to be tried again.
func (e *Engine) hand(ctx context.Context, now time.Time, s sending) (settled bool, err error) {
	sendErr := e.Carrier.Send(ctx, s.text)
	crash.Here("send-handed")
	end := store.Settlement{ID: s.ID, Class: s.Class, Now: journal.At(now)}
	var refusal *carrier.Refusal
	var busy *carrier.Busy
	tries := e.trying.note(s.ID)
	switch {
	case sendErr == nil:
	case errors.As(sendErr, &refusal):
		end.Report, err = e.gaveUp(s, "refused by the carrier")
	case errors.As(sendErr, &busy):
		end.Later = journal.At(now.Add(max(busy.After, carrier.Backoff(tries, e.Jitter()))))
	case tries >= maxTries:
		end.Report, err = e.gaveUp(s, "the carrier did not answer")
	case e.Carrier.Idempotent() || s.Class == journal.ClassTrouble:
		// Unknown: the carrier may have it. With a key it will not send it twice; and
		// an answer to trouble is better sent twice than not at all.
		end.Later = journal.At(now.Add(carrier.Backoff(tries, e.Jitter())))
	default:
		end.Report, err = e.gaveUp(s, "unknown: the carrier did not answer, and sending again might send it twice")
	}
	if err != nil {
		return false, err
	}
	if sendErr != nil {
		e.Log.Warn("a text was not taken by the carrier", "branch", string(e.Branch), "text", string(s.ID), "try", tries, "error", clean(sendErr))
	}
	if err := e.Store.Settle(ctx, end); err != nil {
		return false, fmt.Errorf("settle %s: %w", s.ID, err)
	}
	crash.Here("send-settled")
	if end.Later == 0 {
		e.trying.forget(s.ID)
	}
	return end.Later == 0, nil
}

// gaveUp is the receipt that we write ourselves for a text that will not go out.
func (e *Engine) gaveUp(s sending, why string) (*store.In, error) {
	blob, err := e.sealItem(item{Kind: "receipt", Carrier: "gave-up-" + string(s.ID), Text: s.ID, Status: "gave_up", Why: why})
	if err != nil {
		return nil, err
	}
	return &store.In{CarrierID: "gave-up-" + string(s.ID), Blob: blob}, nil
}

// attempts counts, in this process only, how often a text was handed over.
type attempts struct {
	mu  sync.Mutex
	all map[journal.TextID]int
}

func (a *attempts) note(id journal.TextID) int {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.all == nil {
		a.all = map[journal.TextID]int{}
	}
	a.all[id]++
	return a.all[id]
}

func (a *attempts) forget(id journal.TextID) {
	a.mu.Lock()
	defer a.mu.Unlock()
	delete(a.all, id)
}
