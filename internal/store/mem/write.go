package mem

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

func (b *branch) Accept(ctx context.Context, in store.In, now journal.Millis) (bool, error) {
	if err := in.Check(); err != nil {
		return false, err
	}
	leave, err := b.enter(ctx)
	if err != nil {
		return false, err
	}
	defer leave()
	return b.accept(in, now), nil
}

func (b *branch) accept(in store.In, now journal.Millis) bool {
	remember := journal.Millis(store.RememberIDs.Milliseconds())
	if at, ok := b.seen[in.CarrierID]; ok && now-at < remember {
		return false
	}
	// Once in a while what nobody can ask for any more is dropped, so that a
	// long simulation does not grow for ever: twice as late as it is forgotten,
	// because the callers' clock may go back.
	if now-b.swept >= remember {
		for id, at := range b.seen {
			if now-at >= 2*remember {
				delete(b.seen, id)
			}
		}
		b.swept = now
	}
	b.seen[in.CarrierID] = now
	b.accepted++
	t := token(b.accepted)
	b.inbox.set(t, b.accepted)
	b.items[t] = store.Item{Token: store.Token(t), Got: now, Blob: bytes.Clone(in.Blob)}
	return true
}

func (b *branch) Inbox(ctx context.Context, after store.Token, n int) ([]store.Item, error) {
	var from int64
	if after != "" {
		var err error
		if from, err = position(after); err != nil {
			return nil, err
		}
	}
	leave, err := b.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	var out []store.Item
	for _, p := range b.inbox.after(from, n) {
		it := b.items[p.id]
		it.Blob = slices.Clone(it.Blob)
		out = append(out, it)
	}
	return out, nil
}

func (b *branch) Commit(ctx context.Context, c store.Change) error {
	if err := c.Check(); err != nil {
		return err
	}
	if c.Token != "" {
		if _, err := position(c.Token); err != nil {
			return err
		}
	}
	leave, err := b.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	return b.commit(c)
}

// CommitAll commits changes one after another, each whole or not at all, and
// returns an error for each: store/redis sends them in one round trip.
func (b *branch) CommitAll(ctx context.Context, changes []store.Change) []error {
	errs := make([]error, len(changes))
	for i, c := range changes {
		errs[i] = b.Commit(ctx, c)
	}
	return errs
}

// commit checks everything, and only then writes.
func (b *branch) commit(c store.Change) error {
	if c.Token != "" {
		if _, ok := b.items[string(c.Token)]; !ok {
			return fmt.Errorf("commit: inbox item %s: %w", c.Token, store.ErrGone)
		}
	}
	for _, h := range c.Households {
		var is int64
		if kept := b.households[h.ID]; kept != nil {
			is = kept.version
		}
		if is != h.Was {
			return fmt.Errorf("commit: household %s: %w", h.ID, store.ErrStale)
		}
	}
	for _, h := range c.Households {
		b.write(h)
	}
	if c.Token != "" {
		delete(b.items, string(c.Token))
		b.inbox.remove(string(c.Token))
	}
	b.revision++
	return nil
}

func (b *branch) write(c store.HouseholdChange) {
	h := b.households[c.ID]
	if h == nil {
		h = &household{}
		b.households[c.ID] = h
	}
	h.version = c.Was + 1
	h.state = bytes.Clone(c.State)
	for _, e := range c.Entries {
		h.journal = append(h.journal, bytes.Clone(e))
	}
	if c.Due == 0 {
		b.due.remove(string(c.ID))
	} else {
		b.due.set(string(c.ID), int64(c.Due))
	}
	for _, k := range c.Cases {
		if k.Row == nil {
			b.queue.remove(string(k.ID))
			delete(b.cases, string(k.ID))
			continue
		}
		b.queue.set(string(k.ID), int64(k.AnswerBy))
		b.cases[string(k.ID)] = bytes.Clone(k.Row)
	}
	for _, id := range c.Withdraw {
		if t, ok := b.texts[id]; ok {
			b.outbox[t.class].remove(string(id))
			delete(b.texts, id)
		}
	}
	for _, o := range c.Send {
		if _, ok := b.texts[o.ID]; !ok {
			b.outbox[o.Class].set(string(o.ID), int64(o.NotBefore))
			b.texts[o.ID] = text{o.Class, bytes.Clone(o.Blob)}
		}
	}
	for _, p := range c.DropPhones {
		delete(b.phones[p], c.ID)
		if len(b.phones[p]) == 0 {
			delete(b.phones, p)
		}
	}
	for _, p := range c.AddPhones {
		if b.phones[p] == nil {
			b.phones[p] = map[journal.HouseholdID]bool{}
		}
		b.phones[p][c.ID] = true
	}
	switch {
	case c.Row == nil:
	case len(c.Row) == 0:
		b.ranks.remove(string(c.ID))
		delete(b.rows, string(c.ID))
	default:
		b.ranks.set(string(c.ID), -c.Rank)
		b.rows[string(c.ID)] = bytes.Clone(c.Row)
	}
}

func (b *branch) Take(ctx context.Context, class journal.Class, now, until journal.Millis, n int) ([]store.Out, error) {
	if err := store.CheckClass(class); err != nil {
		return nil, err
	}
	leave, err := b.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	box := b.outbox[class]
	var out []store.Out
	for _, p := range box.upTo(int64(now), n) {
		id := journal.TextID(p.id)
		out = append(out, store.Out{ID: id, Class: class, NotBefore: journal.Millis(p.score), Blob: slices.Clone(b.texts[id].blob)})
		box.set(p.id, int64(until))
	}
	return out, nil
}

func (b *branch) Settle(ctx context.Context, s store.Settlement) error {
	if err := s.Check(); err != nil {
		return err
	}
	leave, err := b.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	if t, ok := b.texts[s.ID]; !ok || t.class != s.Class {
		return nil
	}
	if s.Later != 0 {
		b.outbox[s.Class].set(string(s.ID), int64(s.Later))
	} else {
		b.outbox[s.Class].remove(string(s.ID))
		delete(b.texts, s.ID)
	}
	if s.Report != nil {
		b.accept(*s.Report, s.Now)
	}
	return nil
}
