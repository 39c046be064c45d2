package engine

import (
	"context"
	"encoding/json"
	"fmt"

	"hearthline/internal/carrier"
	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// item is what the inbox holds, sealed under the service's key: the hook does
// not know the household yet.
type item struct {
	Kind    string         `json:"kind"` // text, receipt
	Carrier string         `json:"carrier_id"`
	From    string         `json:"from,omitempty"`
	Body    string         `json:"body,omitempty"`
	Files   int            `json:"files,omitempty"` // pictures or recordings that came with it
	Text    journal.TextID `json:"text,omitempty"`
	Status  string         `json:"status,omitempty"`
	Why     string         `json:"why,omitempty"`
}

// Accept stores what came in by the hook; when it returns without an error,
// it is kept. fresh is false for an id that came before.
func (e *Engine) Accept(ctx context.Context, in carrier.Incoming) (fresh bool, err error) {
	it := item{Kind: in.Kind, Carrier: in.ID, From: in.From, Body: in.Body, Files: in.Attached}
	if in.Receipt != nil {
		it.Text, it.Status, it.Why = in.Receipt.Text, string(in.Receipt.Status), in.Receipt.Why
	}
	sealed, err := e.sealItem(it)
	if err != nil {
		return false, err
	}
	now, err := e.Now(ctx)
	if err != nil {
		return false, fmt.Errorf("accept: the store's time: %w", err)
	}
	fresh, err = e.Store.Accept(ctx, store.In{CarrierID: in.ID, Blob: sealed}, journal.At(now))
	if err != nil {
		return false, fmt.Errorf("accept: %w", err)
	}
	e.nudge()
	return fresh, nil
}

func (e *Engine) sealItem(it item) ([]byte, error) {
	b, err := json.Marshal(it)
	if err != nil {
		return nil, fmt.Errorf("inbox item: %w", err)
	}
	return e.seal("", "inbox", b)
}

func (e *Engine) openItem(blob []byte) (item, error) {
	var it item
	b, err := e.open("", "inbox", blob)
	if err != nil {
		return it, err
	}
	if err := json.Unmarshal(b, &it); err != nil {
		return it, fmt.Errorf("inbox item: %w", err)
	}
	return it, nil
}

func (e *Engine) seal(id journal.HouseholdID, field string, plain []byte) ([]byte, error) {
	return e.Keys.Seal(string(e.Branch), string(id), field, plain)
}

func (e *Engine) open(id journal.HouseholdID, field string, sealed []byte) ([]byte, error) {
	return e.Keys.Open(string(e.Branch), string(id), field, sealed)
}
