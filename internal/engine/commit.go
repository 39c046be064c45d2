package engine

import (
	"context"
	"encoding/json"
	"fmt"

	"hearthline/internal/carrier"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// load reads a household's state; a household that there is none of is an
// empty state of that id.
func (e *Engine) load(ctx context.Context, id journal.HouseholdID) (household.State, error) {
	kept, err := e.Store.Load(ctx, id)
	if err != nil {
		return household.State{}, fmt.Errorf("load %s: %w", id, err)
	}
	if kept.Version == 0 {
		return household.State{ID: id}, nil
	}
	if s, known := e.decoded.get(id, kept.Version); known {
		return s, nil
	}
	s, err := e.decode(id, kept)
	if err != nil {
		return s, fmt.Errorf("%w: %w", errUndecided, err)
	}
	e.decoded.put(s)
	return s, nil
}

func (e *Engine) decode(id journal.HouseholdID, kept store.Stored) (household.State, error) {
	plain, err := e.open(id, "state", kept.State)
	if err != nil {
		return household.State{}, fmt.Errorf("state of %s: %w", id, err)
	}
	s, err := household.DecodeState(plain)
	if err != nil {
		return household.State{}, fmt.Errorf("state of %s: %w", id, err)
	}
	s.Version = kept.Version
	return s, nil
}

// change is everything that a decision writes of one household, sealed.
func (e *Engine) change(w *household.World, before household.State, d household.Decision) (store.HouseholdChange, error) {
	id := d.State.ID
	c := store.HouseholdChange{ID: id, Was: before.Version, Withdraw: d.Effects.Withdraw}
	due, err := household.NextInstant(w, d.State)
	if err != nil {
		return c, err
	}
	c.Due = due
	if c.State, err = e.sealJSON(id, "state", d.State); err != nil {
		return c, err
	}
	for _, entry := range d.Entries {
		plain, err := journal.Encode(entry)
		if err != nil {
			return c, err
		}
		sealed, err := e.seal(id, "entry", plain)
		if err != nil {
			return c, err
		}
		c.Entries = append(c.Entries, sealed)
	}
	for _, t := range d.Effects.Send {
		blob, err := e.sealJSON("", "out", carrier.Text{ID: t.ID, From: e.From, To: t.To, Body: t.Body, Class: t.Class})
		if err != nil {
			return c, err
		}
		c.Send = append(c.Send, store.Out{ID: t.ID, Class: t.Class, NotBefore: t.NotBefore, Blob: blob})
	}
	views := household.Compare(before, d.State)
	for _, v := range views.Cases {
		moved := store.CaseChange{ID: v.ID, AnswerBy: v.AnswerBy}
		if v.Open() {
			if moved.Row, err = e.sealJSON(id, "case", v); err != nil {
				return c, err
			}
		}
		c.Cases = append(c.Cases, moved)
	}
	for _, p := range views.AddPhones {
		c.AddPhones = append(c.AddPhones, e.Keys.PhoneKey(string(e.Branch), p))
	}
	for _, p := range views.DropPhones {
		c.DropPhones = append(c.DropPhones, e.Keys.PhoneKey(string(e.Branch), p))
	}
	if views.Row != nil {
		if c.Row, err = e.sealJSON(id, "row", views.Row); err != nil {
			return c, err
		}
		c.Rank = views.Rank
	}
	return c, nil
}

func (e *Engine) sealJSON(id journal.HouseholdID, field string, v any) ([]byte, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("%s of %s: %w", field, id, err)
	}
	return e.seal(id, field, b)
}
