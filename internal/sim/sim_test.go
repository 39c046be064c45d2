package sim

import (
	"context"
	"encoding/json"
	"testing"
	"time"
	_ "time/tzdata"

	"hearthline/flows"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
	"hearthline/internal/seal"
	"hearthline/internal/store/mem"
	"hearthline/internal/testneed"
)

func testWorld(t testing.TB) *household.World {
	t.Helper()
	w := &household.World{}
	var err error
	if w.Protocols, err = protocol.Load(flows.FS); err != nil {
		t.Fatal(err)
	}
	if w.Words, err = reply.Load(flows.FS); err != nil {
		t.Fatal(err)
	}
	file := func(name string) []byte {
		src, err := flows.FS.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return src
	}
	if w.Limits, err = regimen.ParseLimits("limits.yaml", file("limits.yaml")); err != nil {
		t.Fatal(err)
	}
	if w.Asking, err = household.ParseAsking("asking.yaml", file("asking.yaml")); err != nil {
		t.Fatal(err)
	}
	w.Branch = household.Branch{ID: "demo", Service: "Test", Call: "+1 202 555 0199", Emergency: "911", Zone: time.UTC, Languages: []string{"en"}}
	return w
}

var start = time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC)

func newRun(t testing.TB, w *household.World, seed uint64, households int) *Run {
	t.Helper()
	homes, err := Scenario(w.Limits)
	if err != nil {
		t.Fatal(err)
	}
	keys, err := seal.NewEphemeral()
	if err != nil {
		t.Fatal(err)
	}
	clock := NewClock(start, func() time.Time { return start })
	r, err := New(Config{Homes: Many(homes, households), Seed: seed, Start: start, Clock: clock, Keys: keys,
		Store: mem.New(clock.Now).Branch("demo"), World: func() *household.World { return w }, Nurse: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Enrol(context.Background()); err != nil {
		t.Fatal(err)
	}
	return r
}

func live(t testing.TB, w *household.World, seed uint64, households, days int) Summary {
	t.Helper()
	r := newRun(t, w, seed, households)
	if err := r.Days(context.Background(), days, nil); err != nil {
		t.Fatal(err)
	}
	sum, err := r.Sum(context.Background(), days)
	if err != nil {
		t.Fatal(err)
	}
	return sum
}

func TestSameSeedSameDays(t *testing.T) {
	w := testWorld(t)
	a, b, c := live(t, w, 7, 13, 2), live(t, w, 7, 13, 2), live(t, w, 8, 13, 2)
	x, y := mustJSON(t, a), mustJSON(t, b)
	if x != y {
		t.Errorf("the same seed gave two different runs:\n%s\n%s", x, y)
	}
	if a.Hash == c.Hash {
		t.Error("two seeds gave the same views: the seed decides nothing")
	}
	if a.Prompts == 0 || a.TextsIn == 0 || a.TextsOut["prompt"] != a.Prompts || a.Volume.Given == 0 || a.Volume.NotReported == 0 || len(a.Cases) == 0 {
		t.Errorf("a run in which too little happened: %s", x)
	}
}

func mustJSON(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestAWeekOfManyHouseholds looks at a week for what must never happen: a
// household prompted twice for one act, a text out with no reason, a case that
// silence closed.
func TestAWeekOfManyHouseholds(t *testing.T) {
	testneed.Slow(t)
	w := testWorld(t)
	r := newRun(t, w, 3, 60)
	ctx := context.Background()
	if err := r.Days(ctx, 7, nil); err != nil {
		t.Fatal(err)
	}
	sum, err := r.Sum(ctx, 7)
	if err != nil {
		t.Fatal(err)
	}
	if v := sum.Volume; v.Given+v.Short+v.NotReported+v.NotAsked+v.Held != v.Prescribed || v.Prescribed == 0 {
		t.Errorf("the parts of %+v do not add up", v)
	}
	for _, h := range r.Homes {
		s, err := r.Engine.Household(ctx, h.ID)
		if err != nil {
			t.Fatal(err)
		}
		entries, err := r.Engine.Thread(ctx, h.ID, int(s.Entries))
		if err != nil {
			t.Fatal(err)
		}
		asked := map[string]int{}
		carriers := map[string]bool{}
		for _, e := range entries {
			switch e.Kind {
			case journal.KindPrompted:
				if e.Prompted.Asks != "" && e.Prompted.Occurrence != "" {
					asked[e.Prompted.Asks+e.Prompted.Occurrence]++
				}
			case journal.KindTextIn:
				if carriers[e.TextIn.Carrier] {
					t.Errorf("%s: text %s was decided twice", h.ID, e.TextIn.Carrier)
				}
				carriers[e.TextIn.Carrier] = true
			case journal.KindCaseMoved:
				if e.CaseMoved.To == "closed" && e.By == "engine" {
					t.Errorf("%s: case %s was closed by nobody", h.ID, e.CaseMoved.Case)
				}
			}
		}
		for what, n := range asked {
			if n > 1 {
				t.Errorf("%s was asked %q %d times, apart from second asks", h.ID, what, n)
			}
		}
	}
}

func TestClock(t *testing.T) {
	real := start
	c := NewClock(start, func() time.Time { return real })
	real = real.Add(time.Minute)
	if !c.Now().Equal(start) {
		t.Errorf("a clock without speed moved to %s", c.Now())
	}
	c.SetSpeed(60)
	real = real.Add(time.Minute)
	if want := start.Add(time.Hour); !c.Now().Equal(want) {
		t.Errorf("at 60x after a minute: %s, want %s", c.Now(), want)
	}
	c.SetSpeed(1e9)
	if c.Speed() != maxSpeed {
		t.Errorf("speed %g, want the bound %d", c.Speed(), maxSpeed)
	}
	c.SetSpeed(0)
	c.Skip(time.Hour)
	if want := start.Add(2 * time.Hour); !c.Now().Equal(want) {
		t.Errorf("after skipping an hour: %s, want %s", c.Now(), want)
	}
	c.set(start)
	if c.Now().Before(start.Add(2 * time.Hour)) {
		t.Error("the clock went back")
	}
}

func TestManyKeepsTwinsOnOnePhoneAndEverybodyElseApart(t *testing.T) {
	homes, err := Scenario(testWorld(t).Limits)
	if err != nil {
		t.Fatal(err)
	}
	many := Many(homes, 5*len(homes))
	ids := map[journal.HouseholdID]bool{}
	phones := map[string]int{}
	for _, h := range many {
		if ids[h.ID] {
			t.Fatalf("two households %s", h.ID)
		}
		ids[h.ID] = true
		for _, c := range h.Enrol.Who.Caregivers {
			phones[c.Phone]++
		}
	}
	shared := 0
	for phone, n := range phones {
		if n > 2 {
			t.Errorf("phone %s serves %d households", phone, n)
		}
		if n == 2 {
			shared++
		}
	}
	if shared != 5 {
		t.Errorf("%d phones are shared, want the five of the twins", shared)
	}
}

func BenchmarkWeekOfAThousand(b *testing.B) {
	w := testWorld(b)
	for b.Loop() {
		live(b, w, 1, 1000, 7)
	}
}
