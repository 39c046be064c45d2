package household

import (
	"encoding/json"
	"os"
	"testing"
	"time"
	_ "time/tzdata"

	"hearthline/flows"
	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
)

// testWorld is the shipped flows and an invented branch.
func testWorld(t testing.TB) *World {
	t.Helper()
	w := &World{}
	var err error
	if w.Protocols, err = protocol.Load(flows.FS); err != nil {
		t.Fatal(err)
	}
	if w.Words, err = reply.Load(flows.FS); err != nil {
		t.Fatal(err)
	}
	src, err := flows.FS.ReadFile("limits.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if w.Limits, err = regimen.ParseLimits("limits.yaml", src); err != nil {
		t.Fatal(err)
	}
	if src, err = os.ReadFile("../../flows/asking.yaml"); err != nil {
		t.Fatal(err)
	}
	if w.Asking, err = ParseAsking("asking.yaml", src); err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	w.Branch = Branch{ID: "north", Service: "Test Home Feeding", Call: "+1 202 555 0199", Emergency: "911", Zone: zone, Languages: []string{"en"}}
	return w
}

// regimenYAML is one overnight feed of 640 mL at 80 mL/h from 20:00: 8 h.
const regimenYAML = `household: maple-17
time_zone: America/Chicago
languages: [en]
weight_kg: 18.2
birth_month: 2021-03
tube: {kind: gastrostomy, placed: 2026-01-02, size_fr: 14}
formula: {energy_kcal_per_ml: 1.0, protein_g_per_l: 30, water_fraction: 0.85, container_ml: 237, system: open, prepared: ready_to_feed}
feed_day_starts: "07:00"
feeds:
  - {name: overnight, start: "20:00", volume_ml: 640, rate_ml_per_h: 80}
flush: {before_ml: 15, after_ml: 15}
bag: {change_every_h: 24}
`

const mother, father = "+12025550117", "+12025550118"

func prescription(t testing.TB, w *World, yaml string) json.RawMessage {
	t.Helper()
	p, _, err := regimen.Parse("test.regimen.yaml", []byte(yaml), w.Limits)
	if err != nil {
		t.Fatal(err)
	}
	return marshal(p)
}

// house drives one household through Decide, checking on every step that the
// entries alone make the same state.
type house struct {
	t   testing.TB
	w   *World
	s   State
	now time.Time
	out []Text
	all []journal.Entry
}

// at is a local time in Chicago.
func at(s string) time.Time {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		panic(err)
	}
	t, err := time.ParseInLocation("2006-01-02 15:04", s, zone)
	if err != nil {
		panic(err)
	}
	return t
}

func newHouse(t testing.TB, w *World, now time.Time, who journal.Enrolled, yaml string) *house {
	h := &house{t: t, w: w, s: State{ID: "maple-17"}, now: now}
	h.do(Enrol{By: "staff:test", Who: who, Prescription: prescription(t, w, yaml)})
	return h
}

func family() journal.Enrolled {
	return journal.Enrolled{Name: "invented", Zone: "America/Chicago", Caregivers: []journal.Caregiver{
		{Ref: "c1", Name: "Ana", Phone: mother, Lang: "en"}, {Ref: "c2", Name: "Tom", Phone: father, Lang: "en"}}}
}

// do decides on an event now and applies it; it returns the texts that go out.
func (h *house) do(ev Event) []Text {
	h.t.Helper()
	out, err := h.try(ev)
	if err != nil {
		h.t.Fatalf("%T at %s: %v", ev, h.now, err)
	}
	return out
}

func (h *house) try(ev Event) ([]Text, error) {
	h.t.Helper()
	before := marshal(h.s)
	d, err := Decide(h.w, h.s, h.now, ev)
	if string(marshal(h.s)) != string(before) {
		h.t.Fatalf("Decide on %T changed the state that it was given", ev)
	}
	if err != nil {
		return nil, err
	}
	folded := h.s
	for _, e := range d.Entries {
		b, err := journal.Encode(e)
		if err != nil {
			h.t.Fatalf("entry of %T: %v", ev, err)
		}
		back, err := journal.Decode(b)
		if err != nil {
			h.t.Fatalf("entry of %T read back: %v", ev, err)
		}
		folded = Apply(folded, back)
	}
	if a, b := marshal(folded), marshal(d.State); string(a) != string(b) {
		h.t.Fatalf("after %T the entries make another state than Decide:\n%s\n%s", ev, a, b)
	}
	kept, err := DecodeState(marshal(d.State))
	if err != nil {
		h.t.Fatal(err)
	}
	kept.Version = d.State.Version
	h.s = kept
	h.out = append(h.out, d.Effects.Send...)
	h.all = append(h.all, d.Entries...)
	return d.Effects.Send, nil
}

// until lets time pass, deciding at each instant that falls due, and returns the texts that went out.
func (h *house) until(t time.Time) []Text {
	h.t.Helper()
	n := len(h.out)
	for range 10_000 {
		next, err := NextInstant(h.w, h.s)
		if err != nil {
			h.t.Fatal(err)
		}
		if next == 0 || next.Time().After(t) {
			h.now = t
			return h.out[n:]
		}
		if at := next.Time(); at.After(h.now) {
			h.now = at
		}
		h.do(Tick{})
	}
	h.t.Fatalf("the household did not come to rest before %s", t)
	return nil
}

// says lets a caregiver write now.
func (h *house) says(from, body string) []Text {
	h.t.Helper()
	return h.do(TextCame{CarrierID: "t-" + body, From: from, Body: body, Got: journal.At(h.now)})
}

func (h *house) openCases() []Case {
	var out []Case
	for _, c := range h.s.Cases {
		if c.Open() {
			out = append(out, c)
		}
	}
	return out
}
