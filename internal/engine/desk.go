package engine

import (
	"context"
	"encoding/json"
	"fmt"

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// Queue returns the open cases, nearest answer-by first, n at most, and how many there are in all.
func (e *Engine) Queue(ctx context.Context, n int) ([]household.CaseView, int, error) {
	rows, total, err := e.Store.Queue(ctx, n)
	if err != nil {
		return nil, 0, fmt.Errorf("queue: %w", err)
	}
	out := make([]household.CaseView, len(rows))
	for i, r := range rows {
		id := journal.HouseholdOf(string(r.ID))
		if err := e.openJSON(id, "case", r.Row, &out[i]); err != nil {
			// One case that cannot be read must not hide the others, nor be hidden itself.
			e.Log.Error("a case on the queue cannot be read", "branch", string(e.Branch), "case", string(r.ID), "error", clean(err))
			out[i] = household.CaseView{Household: id, Zone: "UTC", Case: household.Case{ID: r.ID, AnswerBy: r.AnswerBy, Status: household.CaseOpen,
				Answer: journal.AnswerMinutes, GoesTo: "nurse", Title: "title.system", Protocol: "system", Why: "this case cannot be read; open the household"}}
		}
	}
	return out, total, nil
}

// Rows returns the households' summary rows, those to look at first in front.
func (e *Engine) Rows(ctx context.Context, from, n int) ([]household.RowView, int, error) {
	rows, total, err := e.Store.Rows(ctx, from, n)
	if err != nil {
		return nil, 0, fmt.Errorf("households: %w", err)
	}
	out := make([]household.RowView, len(rows))
	for i, r := range rows {
		if err := e.openJSON(r.ID, "row", r.Row, &out[i]); err != nil {
			return nil, 0, fmt.Errorf("summary row of %s: %w", r.ID, err)
		}
	}
	return out, total, nil
}

// Household returns a household's state; its Version is 0 where there is none.
func (e *Engine) Household(ctx context.Context, id journal.HouseholdID) (household.State, error) {
	return e.load(ctx, id)
}

// Thread returns the newest n journal entries of a household, oldest first.
func (e *Engine) Thread(ctx context.Context, id journal.HouseholdID, n int) ([]journal.Entry, error) {
	sealed, err := e.Store.Journal(ctx, id, int64(-n), n)
	if err != nil {
		return nil, fmt.Errorf("journal of %s: %w", id, err)
	}
	out := make([]journal.Entry, len(sealed))
	for i, b := range sealed {
		plain, err := e.open(id, "entry", b)
		if err != nil {
			return nil, fmt.Errorf("journal of %s: %w", id, err)
		}
		if out[i], err = journal.Decode(plain); err != nil {
			return nil, fmt.Errorf("journal of %s: %w", id, err)
		}
	}
	return out, nil
}

// Do carries out a person's act in her own request. *household.Refused says
// why it could not be done.
func (e *Engine) Do(ctx context.Context, id journal.HouseholdID, click household.Event) error {
	if _, enrols := click.(household.Enrol); !enrols {
		switch s, err := e.load(ctx, id); {
		case err != nil:
			return err
		case s.Version == 0:
			return &household.Refused{Why: "there is no household " + string(id)}
		}
	}
	now, err := e.Now(ctx)
	if err != nil {
		return err
	}
	if err := e.Event(ctx, now, id, click); err != nil {
		return err
	}
	e.nudge()
	return nil
}

// Pulse says what moves in the branch.
func (e *Engine) Pulse(ctx context.Context) (store.Pulse, error) { return e.Store.Pulse(ctx) }

func (e *Engine) openJSON(id journal.HouseholdID, field string, sealed []byte, v any) error {
	plain, err := e.open(id, field, sealed)
	if err != nil {
		return err
	}
	return json.Unmarshal(plain, v)
}
