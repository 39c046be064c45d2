package engine

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"
	_ "time/tzdata"

	"hearthline/flows"
	"hearthline/internal/carrier"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
	"hearthline/internal/seal"
	"hearthline/internal/store"
	"hearthline/internal/store/mem"
)

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

// bench is one branch on a memory store with a clock and a carrier that the test moves.
type bench struct {
	t       *testing.T
	now     time.Time
	store   *faulty
	keys    *seal.Keys
	world   *household.World
	carrier *fakeCarrier
	*Engine
}

func newBench(t *testing.T, workers int) *bench {
	t.Helper()
	b := &bench{t: t, now: time.Date(2026, 11, 30, 18, 0, 0, 0, time.UTC), carrier: &fakeCarrier{}}
	var err error
	if b.keys, err = seal.NewEphemeral(); err != nil {
		t.Fatal(err)
	}
	b.world = testWorld(t)
	b.store = &faulty{Branch: mem.New(func() time.Time { return b.now }).Branch("north")}
	b.Engine = b.another(workers)
	b.enrol("maple-17", "+12025550117")
	return b
}

// another is a second engine on the same branch, as after a crash.
func (b *bench) another(workers int) *Engine {
	return New(Config{Branch: "north", Store: b.store, Keys: b.keys, World: func() *household.World { return b.world },
		Carrier: b.carrier, From: "+12025550100", Holder: fmt.Sprint(workers), Workers: workers})
}

func (b *bench) enrol(id journal.HouseholdID, phone string) {
	b.t.Helper()
	p, _, err := regimen.Parse("r.yaml", []byte(strings.ReplaceAll(regimenYAML, "maple-17", string(id))), b.world.Limits)
	if err != nil {
		b.t.Fatal(err)
	}
	raw, err := json.Marshal(p)
	if err != nil {
		b.t.Fatal(err)
	}
	who := journal.Enrolled{Name: "invented", Zone: "America/Chicago", Caregivers: []journal.Caregiver{{Ref: "c1", Name: "Ana", Phone: phone, Lang: "en"}}}
	if err := b.Do(context.Background(), id, household.Enrol{By: "staff:test", Who: who, Prescription: raw}); err != nil {
		b.t.Fatal(err)
	}
}

func testWorld(t *testing.T) *household.World {
	t.Helper()
	w := &household.World{}
	var err error
	if w.Protocols, err = protocol.Load(flows.FS); err != nil {
		t.Fatal(err)
	}
	if w.Words, err = reply.Load(flows.FS); err != nil {
		t.Fatal(err)
	}
	read := func(name string) []byte {
		src, err := flows.FS.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return src
	}
	if w.Limits, err = regimen.ParseLimits("limits.yaml", read("limits.yaml")); err != nil {
		t.Fatal(err)
	}
	if w.Asking, err = household.ParseAsking("asking.yaml", read("asking.yaml")); err != nil {
		t.Fatal(err)
	}
	w.Branch = household.Branch{ID: "north", Service: "Test Home Feeding", Call: "+1 202 555 0199", Emergency: "911", Zone: time.UTC, Languages: []string{"en"}}
	return w
}

// step runs intake and due until nothing is left to do.
func (b *bench) step(e *Engine) {
	b.t.Helper()
	for range 1000 {
		n, err := e.Intake(context.Background(), b.now)
		if err != nil {
			b.t.Fatal(err)
		}
		m, err := e.Due(context.Background(), b.now)
		if err != nil {
			b.t.Fatal(err)
		}
		if n+m == 0 {
			return
		}
	}
	b.t.Fatal("the engine did not come to rest")
}

func (b *bench) post(id, from, body string) {
	b.t.Helper()
	if _, err := b.Accept(context.Background(), carrier.Incoming{ID: id, Kind: carrier.KindText, From: from, Body: body}); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) texts(id journal.HouseholdID) []string {
	b.t.Helper()
	entries, err := b.Thread(context.Background(), id, 1000)
	if err != nil {
		b.t.Fatal(err)
	}
	var out []string
	for _, e := range entries {
		if e.TextIn != nil {
			out = append(out, e.TextIn.Carrier)
		}
	}
	return out
}

// faulty is a store whose Commit fails when the test says so.
type faulty struct {
	store.Branch
	mu   sync.Mutex
	fail func(store.Change) error // before the commit
	lost func(store.Change) error // after it: the answer is lost
}

func (f *faulty) Commit(ctx context.Context, c store.Change) error {
	f.mu.Lock()
	fail, lost := f.fail, f.lost
	f.mu.Unlock()
	if fail != nil {
		if err := fail(c); err != nil {
			return err
		}
	}
	if err := f.Branch.Commit(ctx, c); err != nil {
		return err
	}
	if lost != nil {
		return lost(c)
	}
	return nil
}

type fakeCarrier struct {
	mu     sync.Mutex
	sent   []carrier.Text
	answer func(carrier.Text) error
	open   map[string]bool
	clash  bool // two texts to one phone at a time
}

func (f *fakeCarrier) Idempotent() bool { return true }

func (f *fakeCarrier) Send(_ context.Context, t carrier.Text) error {
	f.mu.Lock()
	if f.open == nil {
		f.open = map[string]bool{}
	}
	f.clash = f.clash || f.open[t.To]
	f.open[t.To] = true
	f.mu.Unlock()
	defer func() {
		f.mu.Lock()
		delete(f.open, t.To)
		f.mu.Unlock()
	}()
	if f.answer != nil {
		if err := f.answer(t); err != nil {
			return err
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.sent = append(f.sent, t)
	return nil
}

func TestTextsOfAHouseholdAreDecidedInTheirOrder(t *testing.T) {
	b := newBench(t, 8)
	for i := range 20 {
		b.enrol(journal.HouseholdID(fmt.Sprintf("h-%d", i)), fmt.Sprintf("+120255502%02d", i))
	}
	for n := range 10 {
		for i := range 20 {
			b.post(fmt.Sprintf("%d-%02d", i, n), fmt.Sprintf("+120255502%02d", i), "ok")
		}
	}
	b.step(b.Engine)
	for i := range 20 {
		var want []string
		for n := range 10 {
			want = append(want, fmt.Sprintf("%d-%02d", i, n))
		}
		if got := b.texts(journal.HouseholdID(fmt.Sprintf("h-%d", i))); strings.Join(got, " ") != strings.Join(want, " ") {
			t.Errorf("household h-%d decided %v, want %v", i, got, want)
		}
	}
}

func TestALostAnswerOfCommitDecidesNothingTwice(t *testing.T) {
	b := newBench(t, 1)
	b.post("m-1", "+12025550117", "she threw up")
	b.store.lost = func(store.Change) error { return errors.New("connection reset") }
	if _, err := b.Intake(context.Background(), b.now); err != nil {
		t.Fatal(err)
	}
	b.store.lost = nil
	b.now = b.now.Add(time.Hour)
	b.step(b.Engine)
	b.step(b.another(1)) // and once more by an engine that knows of nothing
	if got := b.texts("maple-17"); len(got) != 1 {
		t.Errorf("the text was decided %d times", len(got))
	}
}

func TestAFailingStoreLosesNothingAndKeepsTheOrder(t *testing.T) {
	b := newBench(t, 4)
	b.post("m-1", "+12025550117", "ok")
	b.post("m-2", "+12025550117", "thanks")
	n := 0
	b.store.fail = func(store.Change) error {
		if n++; n == 1 {
			return errors.New("connection refused")
		}
		return nil
	}
	if _, err := b.Intake(context.Background(), b.now); err != nil {
		t.Fatal(err)
	}
	if got := b.texts("maple-17"); len(got) != 0 {
		t.Errorf("decided %v although the first could not be written", got)
	}
	b.now = b.now.Add(time.Hour)
	b.step(b.Engine)
	if got := b.texts("maple-17"); strings.Join(got, " ") != "m-1 m-2" {
		t.Errorf("decided %v, want m-1 m-2", got)
	}
}

func TestATextThatCannotBeDecidedReachesANurseAndHoldsNothingBack(t *testing.T) {
	b := newBench(t, 4)
	sick, err := b.keys.Seal("north", "", "inbox", []byte(`{"kind":`)) // sealed rightly, and no item
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.store.Accept(context.Background(), store.In{CarrierID: "odd", Blob: sick}, journal.At(b.now)); err != nil {
		t.Fatal(err)
	}
	b.post("m-1", "+12025550117", "ok")
	b.step(b.Engine)
	if got := b.texts("maple-17"); len(got) != 1 {
		t.Errorf("the text behind the odd one was decided %d times, want once", len(got))
	}
	raw := func() int {
		queue, _, err := b.Queue(context.Background(), 100)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, c := range queue {
			if c.Unknown && c.GoesTo == "nurse" {
				n++
			}
		}
		return n
	}
	if raw() != 1 {
		t.Errorf("%d cases for the text that could not be decided, want one", raw())
	}
	b.now = b.now.Add(24 * time.Hour)
	b.step(b.Engine)
	b.step(b.another(4))
	if raw() != 1 {
		t.Errorf("after more tries %d cases, want still one", raw())
	}
	items, err := b.store.Inbox(context.Background(), "", 10)
	if err != nil || len(items) != 1 {
		t.Errorf("inbox holds %d items (%v), want the odd one still", len(items), err)
	}
}

func TestAnUnknownPhoneIsNeverDroppedSilently(t *testing.T) {
	b := newBench(t, 1)
	b.post("m-1", "+12025550166", "the tube came out")
	b.step(b.Engine)
	queue, total, err := b.Queue(context.Background(), 10)
	if err != nil || total != 1 || !queue[0].Unknown || !queue[0].Household.Stranger() {
		t.Fatalf("queue %+v, %d, %v; want one case of an unknown number", queue, total, err)
	}
	if n, err := b.Send(context.Background(), b.now); err != nil || n < 1 || b.carrier.sent[0].To != "+12025550166" {
		t.Errorf("sent %d, %v, %+v; want an answer to the number that wrote", n, err, b.carrier.sent)
	}
}

func TestWhatTheCarrierAnswersDecidesWhatBecomesOfAText(t *testing.T) {
	ctx := context.Background()
	for _, c := range []struct {
		name    string
		answer  error
		left    bool // still in the outbox
		receipt bool // an entry of ours in the journal
	}{
		{"taken", nil, false, false},
		{"refused", &carrier.Refusal{Why: "not a number"}, false, true},
		{"busy", &carrier.Busy{After: time.Minute}, true, false},
		{"unknown", errors.New("timed out"), true, false},
	} {
		b := newBench(t, 1)
		b.post("m-1", "+12025550117", "she threw up")
		b.step(b.Engine)
		b.carrier.answer = func(carrier.Text) error { return c.answer }
		if _, err := b.Send(ctx, b.now); err != nil {
			t.Fatal(err)
		}
		b.step(b.Engine)
		pulse, err := b.Pulse(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if left := pulse.Outbox[journal.ClassTrouble] > 0; left != c.left {
			t.Errorf("%s: still in the outbox is %t, want %t", c.name, left, c.left)
		}
		entries, err := b.Thread(ctx, "maple-17", 100)
		if err != nil {
			t.Fatal(err)
		}
		receipt := false
		for _, e := range entries {
			receipt = receipt || e.Kind == journal.KindReceipt
		}
		if receipt != c.receipt {
			t.Errorf("%s: journaled as not sent is %t, want %t", c.name, receipt, c.receipt)
		}
	}
}

func TestOneTextAtATimeToAPhone(t *testing.T) {
	ctx := context.Background()
	b := newBench(t, 8)
	for i := range 6 {
		b.post(fmt.Sprint("m-", i), "+12025550117", "240")
		b.post(fmt.Sprint("o-", i), "+12025550166", "hello there")
	}
	b.step(b.Engine)
	var all sync.WaitGroup
	for range 4 {
		all.Add(1)
		go func() {
			defer all.Done()
			if _, err := b.Send(ctx, b.now); err != nil {
				t.Error(err)
			}
		}()
	}
	all.Wait()
	if b.carrier.clash {
		t.Error("two texts were under way to one phone at a time")
	}
}

func TestTimeNeverGoesBack(t *testing.T) {
	b := newBench(t, 1)
	first, err := b.Now(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	b.now = b.now.Add(-time.Hour)
	second, err := b.Now(context.Background())
	if err != nil || second.Before(first) {
		t.Errorf("Now went from %s to %s (%v)", first, second, err)
	}
}

func TestTwoNursesOneCase(t *testing.T) {
	ctx := context.Background()
	b := newBench(t, 4)
	b.post("m-1", "+12025550117", "she threw up")
	b.step(b.Engine)
	queue, _, err := b.Queue(ctx, 1)
	if err != nil || len(queue) != 1 {
		t.Fatalf("queue %v %v", queue, err)
	}
	var all sync.WaitGroup
	won := make(chan string, 8)
	for i := range 8 {
		all.Add(1)
		go func() {
			defer all.Done()
			by := fmt.Sprintf("staff:n%d", i)
			err := b.Do(ctx, "maple-17", household.Claim{By: by, Case: queue[0].ID})
			var refused *household.Refused
			switch {
			case err == nil:
				won <- by
			case !errors.As(err, &refused):
				t.Errorf("claim by %s: %v", by, err)
			}
		}()
	}
	all.Wait()
	if len(won) != 1 {
		t.Errorf("%d nurses hold the case", len(won))
	}
	s, err := b.Household(ctx, "maple-17")
	if err != nil || s.Cases[0].Holder != <-won {
		t.Errorf("the case is held by %q, not by who was told so (%v)", s.Cases[0].Holder, err)
	}
}

func TestACaseThatCannotBeReadHidesNoOther(t *testing.T) {
	ctx := context.Background()
	b := newBench(t, 1)
	b.enrol("cedar-04", "+12025550104")
	b.post("m-1", "+12025550117", "she threw up")
	b.post("m-2", "+12025550104", "he threw up")
	b.step(b.Engine)
	other, err := seal.NewEphemeral() // whose keys nobody has any more
	if err != nil {
		t.Fatal(err)
	}
	broken := New(Config{Branch: "north", Store: b.store, Keys: other, World: func() *household.World { return b.world }, Carrier: b.carrier})
	queue, total, err := broken.Queue(ctx, 10)
	if err != nil || total != 2 || len(queue) != 2 || queue[0].ID == "" || queue[0].AnswerBy == 0 {
		t.Errorf("queue with rows that cannot be read: %+v, %d, %v; want two cases all the same", queue, total, err)
	}
}
