package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"hearthline/internal/journal"
	"hearthline/internal/sim"
	"hearthline/internal/web"
)

// demoPhones shows the pretend phones to the pages.
type demoPhones struct{ d *demo }

// stranger is a phone that belongs to no household, to try what then happens.
const stranger = "+12025550166"

// List returns one phone a number: the caregivers', and one that nobody knows.
func (p *demoPhones) List(context.Context) ([]web.Phone, error) {
	var out []web.Phone
	at := map[string]int{}
	for _, h := range p.d.run.Homes {
		for _, c := range h.Enrol.Who.Caregivers {
			if i, known := at[c.Phone]; known {
				out[i].Households = append(out[i].Households, h.ID)
				continue
			}
			at[c.Phone] = len(out)
			out = append(out, web.Phone{Number: c.Phone, Who: fmt.Sprintf("%s (%s)", c.Name, h.About), Households: []journal.HouseholdID{h.ID}, Lang: c.Lang})
		}
	}
	slices.SortStableFunc(out, func(a, b web.Phone) int {
		return strings.Compare(string(a.Households[0]), string(b.Households[0]))
	})
	if i := slices.IndexFunc(out, func(p web.Phone) bool { return p.Households[0] == "maple-17" }); i > 0 {
		first := out[i]
		out = slices.Insert(slices.Delete(out, i, i+1), 0, first) // the family that the demo begins with
	}
	return append(out, web.Phone{Number: stranger, Who: "a number that nobody knows", Lang: "en"}), nil
}

// Thread returns what a phone has sent and received, oldest first.
func (p *demoPhones) Thread(_ context.Context, number string) ([]web.PhoneText, error) {
	var out []web.PhoneText
	for _, t := range p.d.run.Phones.Thread(number) {
		out = append(out, web.PhoneText{At: t.At, Mine: !t.Ours, Body: t.Body})
	}
	return out, nil
}

// Type sends a text from a phone; its pretend owner says no more from then on.
func (p *demoPhones) Type(ctx context.Context, number, body string) error {
	p.d.run.TakeOver(number)
	if _, err := p.d.run.Engine.Accept(ctx, p.d.run.Phones.Type(number, sim.Sender, body, 0)); err != nil {
		return err
	}
	select {
	case p.d.poke <- struct{}{}:
	default:
	}
	return nil
}
