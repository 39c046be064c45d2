package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/ledger"
	"hearthline/internal/reply"
	"hearthline/internal/store"
)

// Everything here is invented: households, people, numbers, texts.

const (
	testToken = "a token of the tests, long enough"
	maple     = journal.HouseholdID("maple-17")
	cedar     = journal.HouseholdID("cedar-4")
	stranger  = journal.HouseholdID("number-9f2c")
	trouble   = "gave 150 then he threw up twice"
)

// testNow is a night in which the clocks of Chicago have long been set to summer time.
var testNow = time.Date(2026, 5, 3, 8, 12, 40, 0, time.UTC) // 03:12:40 CDT

func ms(d time.Duration) journal.Millis { return journal.At(testNow.Add(d)) }

// fakeDesk keeps households in memory and follows the rules of a claim, so that
// pages can be tried without an engine.
type fakeDesk struct {
	mu     sync.Mutex
	now    time.Time
	states map[journal.HouseholdID]*household.State
	thread map[journal.HouseholdID][]journal.Entry
	pulse  store.Pulse
	did    []household.Event
	fail   error // what everything answers, if set
	refuse error // what Do answers, if set
	pulses int
}

func (d *fakeDesk) Queue(_ context.Context, n int) ([]household.CaseView, int, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fail != nil {
		return nil, 0, d.fail
	}
	var out []household.CaseView
	for _, s := range d.states {
		for _, c := range s.Cases {
			if c.Open() {
				out = append(out, household.CaseView{Case: c, Household: s.ID, Name: s.Name, Zone: s.Zone, Tube: tubeOf(*s, d.now)})
			}
		}
	}
	slices.SortFunc(out, func(a, b household.CaseView) int {
		if a.AnswerBy != b.AnswerBy {
			return int(a.AnswerBy - b.AnswerBy)
		}
		return strings.Compare(string(a.ID), string(b.ID))
	})
	return out[:min(n, len(out))], len(out), nil
}

func (d *fakeDesk) Household(_ context.Context, id journal.HouseholdID) (household.State, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fail != nil {
		return household.State{}, d.fail
	}
	s, ok := d.states[id]
	if !ok {
		return household.State{ID: id}, nil
	}
	c := *s
	c.Cases = slices.Clone(s.Cases)
	return c, nil
}

func (d *fakeDesk) Thread(_ context.Context, id journal.HouseholdID, n int) ([]journal.Entry, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fail != nil {
		return nil, d.fail
	}
	all := d.thread[id]
	return slices.Clone(all[max(0, len(all)-n):]), nil
}

func (d *fakeDesk) Rows(_ context.Context, from, n int) ([]household.RowView, int, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fail != nil {
		return nil, 0, d.fail
	}
	var out []household.RowView
	for _, s := range d.states {
		if s.ID.Stranger() {
			continue
		}
		r := household.RowView{Household: s.ID, Name: s.Name, Tag: s.Tag, Zone: s.Zone, Status: s.Status, LastText: s.LastText, Undeliv: s.Undeliv}
		for _, c := range s.Cases {
			if c.Open() {
				r.OpenCases++
			}
		}
		for _, c := range s.Caregivers {
			if c.Stopped {
				r.Stopped++
			}
		}
		for _, day := range s.Days {
			r.Days = append(r.Days, household.DayView{Day: day.Day, Volume: day.Volume(), MilliKcal: day.MilliKcal().Given,
				Flushes: day.Flushes, BagChanges: day.BagChanges, Asked: day.Asked, Answered: day.Answered, Closed: day.Closed})
		}
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b household.RowView) int { return strings.Compare(string(b.Household), string(a.Household)) })
	total := len(out)
	from = min(from, total)
	return out[from:min(total, from+n)], total, nil
}

func (d *fakeDesk) Do(_ context.Context, id journal.HouseholdID, click household.Event) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.refuse != nil {
		return d.refuse
	}
	if d.fail != nil {
		return d.fail
	}
	d.did = append(d.did, click)
	s := d.states[id]
	var by string
	var of journal.CaseID
	moved := journal.CaseMoved{}
	switch e := click.(type) {
	case household.Claim:
		by, of, moved.To, moved.Holder = e.By, e.Case, "claimed", e.By
	case household.Release:
		by, of, moved.To = e.By, e.Case, "open"
	case household.Write:
		by, of, moved.To = e.By, e.Case, "wrote"
		d.add(id, journal.Entry{At: journal.At(d.now), By: e.By, Kind: journal.KindTextOut, TextOut: &journal.TextOut{
			ID: journal.TextID(fmt.Sprintf("%s.w.%d", id, len(d.did))), To: "c1", Body: e.Body, Why: "staff", Case: e.Case}})
	case household.Close:
		by, of, moved.To, moved.Disposition, moved.Note = e.By, e.Case, "closed", e.Disposition, e.Note
	case household.SetPause:
		s.Status = household.Active
		if e.On {
			s.Status = household.Paused
		}
		d.add(id, journal.Entry{At: journal.At(d.now), By: e.By, Kind: journal.KindPaused, Paused: &journal.Paused{On: e.On, Why: e.Why}})
		d.pulse.Revision++
		return nil
	}
	for i := range s.Cases {
		c := &s.Cases[i]
		if c.ID != of {
			continue
		}
		switch moved.To {
		case "claimed":
			if c.Holder != "" && c.Holder != by {
				return &household.Refused{Why: strings.TrimPrefix(c.Holder, "staff:") + " holds this case already"}
			}
			c.Holder, c.Status = by, household.CaseClaimed
		case "open":
			c.Holder, c.Status = "", household.CaseOpen
		case "closed":
			c.Status, c.Disposition = household.CaseClosed, moved.Disposition
		}
	}
	moved.Case = of
	d.add(id, journal.Entry{At: journal.At(d.now), By: by, Kind: journal.KindCaseMoved, CaseMoved: &moved})
	d.pulse.Revision++
	return nil
}

func (d *fakeDesk) Pulse(context.Context) (store.Pulse, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.pulses++
	return d.pulse, d.fail
}

func (d *fakeDesk) Now(context.Context) (time.Time, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.now, d.fail
}

func (d *fakeDesk) add(id journal.HouseholdID, e journal.Entry) {
	e.V, e.Seq = 1, int64(len(d.thread[id])+1)
	d.thread[id] = append(d.thread[id], e)
}

// change changes the desk as a commit would: pages are told.
func (d *fakeDesk) change(f func(d *fakeDesk)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f(d)
	d.pulse.Revision++
}

func (d *fakeDesk) acts() []household.Event {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.did)
}

// openCase puts trouble on the queue of a household.
func (d *fakeDesk) openCase(id journal.HouseholdID, n int, in time.Duration, said string, words ...string) journal.CaseID {
	of := journal.CaseID(fmt.Sprintf("%s.%d.1", id, n))
	s := d.states[id]
	c := household.Case{ID: of, Protocol: "vomiting", Codes: []string{"vomiting"}, Title: "title.vomiting", Answer: journal.AnswerMinutes,
		Opened: ms(-18 * time.Minute), AnswerBy: ms(in), GoesTo: "nurse", Status: household.CaseOpen, From: "c1", Said: said, Words: words,
		Texts: 1, Why: "vomiting twice", Unknown: id.Stranger()}
	s.Cases = append(s.Cases, c)
	text := journal.TextID(fmt.Sprintf("%s.%d.0", id, n))
	d.add(id, journal.Entry{At: ms(-18 * time.Minute), By: "caregiver:c1", Kind: journal.KindTextIn, TextIn: &journal.TextIn{
		ID: text, From: "c1", Body: said, Reading: readingOf(said, words)}})
	d.add(id, journal.Entry{At: ms(-18 * time.Minute), By: "engine", Kind: journal.KindCaseOpened, CaseOpened: &journal.CaseOpened{
		Case: of, Title: c.Title, Codes: c.Codes, Text: text, Said: said, Words: words}})
	return of
}

func readingOf(said string, words []string) json.RawMessage {
	given := int64(150)
	r := reply.Reading{Lang: "en", Handling: reply.Nurse, Why: "vomiting is present", Present: []string{"vomiting"}, Absent: []string{"fever"},
		GivenML: &given, Intent: []string{}, Unread: []string{"zorp"}}
	for _, w := range words {
		if i := strings.Index(said, w); i >= 0 {
			r.Facts = append(r.Facts, reply.Fact{Code: "vomiting", Status: reply.Present, Quote: w, Start: i, End: i + len(w)})
		}
	}
	b, err := json.Marshal(r)
	if err != nil {
		panic(err)
	}
	return b
}

func feedDay(day journal.Day, start time.Duration, closed bool, feeds ...ledger.Feed) ledger.Day {
	return ledger.Day{Day: day, Start: ms(start), End: ms(start + 24*time.Hour), Feeds: feeds,
		Formula: journal.Composition{EnergyKcalPerL: 1000, ProteinMgPerL: 30000, WaterMLPerL: 850},
		Flushes: ledger.Tally{Due: 4, Done: 2, NotDone: 1}, BagChanges: ledger.Tally{Due: 1, Done: 1}, Asked: 3, Answered: 2, Closed: closed}
}

func given(ml, of journal.ML) ledger.Feed {
	return ledger.Feed{ML: of, Fate: ledger.Reported, GivenML: ml}
}

// newDesk has a household in trouble, one that is paused, and a stranger.
func newDesk() *fakeDesk {
	d := &fakeDesk{now: testNow, thread: map[journal.HouseholdID][]journal.Entry{},
		pulse: store.Pulse{Revision: 1, Round: journal.At(testNow.Add(-2 * time.Second)), Inbox: 1, Outbox: [journal.Classes]int{0, 0, 2}}}
	d.states = map[journal.HouseholdID]*household.State{
		maple: {ID: maple, Version: 12, Status: household.Active, Name: "Robin L.", Zone: "America/Chicago", LastText: ms(-18 * time.Minute),
			Caregivers: []household.Caregiver{
				{Caregiver: journal.Caregiver{Ref: "c1", Name: "Ana", Phone: "+12025550143", Lang: "en"}},
				{Caregiver: journal.Caregiver{Ref: "c2", Name: "Luis", Phone: "+12025550144", Lang: "es"}, Stopped: true}},
			Regimens: []household.InForce{{From: ms(-72 * time.Hour), Prescription: json.RawMessage(`{"tube":{"kind":"low_profile"}}`)}},
			Days: []ledger.Day{
				feedDay("2026-04-30", -63*time.Hour, true, given(300, 300), given(300, 300), given(320, 300)),
				feedDay("2026-05-01", -39*time.Hour, true, given(300, 300), given(150, 300), ledger.Feed{ML: 300}),
				feedDay("2026-05-02", -15*time.Hour, false, given(150, 300), ledger.Feed{ML: 300, Fate: ledger.Held}, ledger.Feed{ML: 300, Fate: ledger.NotAsked})}},
		cedar: {ID: cedar, Version: 3, Status: household.Paused, Name: "Jo M.", Zone: "America/New_York", Undeliv: 2,
			Caregivers: []household.Caregiver{{Caregiver: journal.Caregiver{Ref: "c1", Name: "Sam", Phone: "+12025550150", Lang: "en"}}}},
		stranger: {ID: stranger, Version: 1, Status: household.Stranger, Phone: "+12025550177"},
	}
	prompt := journal.TextID("maple-17.10.0")
	d.add(maple, journal.Entry{At: ms(-15 * time.Hour), By: "engine", Kind: journal.KindDayOpened, DayOpened: &journal.DayOpened{Day: "2026-05-02"}})
	d.add(maple, journal.Entry{At: ms(-2 * time.Hour), By: "engine", Kind: journal.KindTextOut, TextOut: &journal.TextOut{
		ID: prompt, To: "c1", Class: journal.ClassReminder, Body: "Did all 300 mL go in? If not, how much?", Why: "prompt"}})
	d.add(maple, journal.Entry{At: ms(-2*time.Hour + time.Minute), By: "engine", Kind: journal.KindReceipt, Receipt: &journal.Receipt{Text: prompt, Status: "delivered"}})
	d.openCase(maple, 11, 12*time.Minute, trouble, "threw up twice")
	d.add(maple, journal.Entry{At: ms(-18 * time.Minute), By: "caregiver:c1", Kind: journal.KindFed, Fed: &journal.Fed{
		Day: "2026-05-02", GivenML: 150, Text: "maple-17.11.0"}})
	d.add(maple, journal.Entry{At: ms(-18 * time.Minute), By: "engine", Kind: journal.KindTextOut, TextOut: &journal.TextOut{
		ID: "maple-17.11.2", To: "c1", Body: "A nurse has your text and will call you by 3:24 AM.", Why: "case", Case: "maple-17.11.1"}})
	d.openCase(stranger, 1, -4*time.Minute, "he pulled the tube out", "pulled the tube out")
	d.states[stranger].Cases[0].Title = "title.tube_out"
	d.states[stranger].Cases[0].Overdue = true
	return d
}

// fakePhrases stand for the texts of flows/.
type fakePhrases map[string]string

func (p fakePhrases) Has(key string) bool { _, ok := p[key]; return ok }
func (p fakePhrases) Say(key string, _ map[string]string) string {
	return p[key]
}

var testPhrases = fakePhrases{
	"title.vomiting": "Vomiting or nausea", "title.tube_out": "Tube out",
	"disposition.advised": "Advised; stays at home", "disposition.emergency": "Sent for emergency care",
}

func testConfig(d Desk) Config {
	return Config{Desk: d, Phrases: func(string) Phrases { return testPhrases }, Token: testToken, Branch: "North team",
		Zone: mustZone("America/Chicago"), Dispositions: []string{"disposition.advised", "disposition.emergency"},
		Clock: func() time.Time { return testNow }, Heartbeat: time.Hour}
}

func mustZone(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

func newSite(t testing.TB, cfg Config) *Site {
	t.Helper()
	s, err := New(cfg)
	if err != nil {
		t.Fatalf("New: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := s.Close(ctx); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

var errStoreDown = errors.New("dial tcp 10.0.0.1:6379: secret detail")

// fakePhones and fakeClock are the demo's parts.
type fakePhones struct {
	mu    sync.Mutex
	texts map[string][]PhoneText
	desk  *fakeDesk
	typed func(number, body string)
}

func (p *fakePhones) List(context.Context) ([]Phone, error) {
	return []Phone{
		{Number: "+12025550143", Who: "Ana, mother", Households: []journal.HouseholdID{maple}, Lang: "en"},
		{Number: "+12025550151", Who: "Marta, abuela", Households: []journal.HouseholdID{cedar, "cedar-5"}, Lang: "es"},
	}, nil
}

func (p *fakePhones) Thread(_ context.Context, number string) ([]PhoneText, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.texts[number]), nil
}

func (p *fakePhones) Type(_ context.Context, number, body string) error {
	p.mu.Lock()
	p.texts[number] = append(p.texts[number], PhoneText{At: testNow, Mine: true, Body: body})
	p.mu.Unlock()
	if p.typed != nil {
		p.typed(number, body)
	}
	return nil
}

type fakeClock struct {
	mu     sync.Mutex
	now    time.Time
	speed  float64
	broken atomic.Bool // panics, as a fault of ours might in the middle of a stream
}

func (c *fakeClock) Now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.now }
func (c *fakeClock) Speed() float64 {
	if c.broken.Load() {
		panic("a fault of the tests")
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.speed
}
func (c *fakeClock) SetSpeed(x float64) { c.mu.Lock(); defer c.mu.Unlock(); c.speed = x }
func (c *fakeClock) Skip(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

func demoConfig(d *fakeDesk) (Config, *fakePhones, *fakeClock) {
	phones := &fakePhones{desk: d, texts: map[string][]PhoneText{"+12025550143": {
		{At: testNow.Add(-2 * time.Hour), Body: "Did all 300 mL go in? If not, how much?"},
		{At: testNow.Add(-18 * time.Minute), Mine: true, Body: trouble},
		{At: testNow.Add(-18 * time.Minute), Body: "A nurse has your text and will call you by 3:24 AM."}}}}
	clock := &fakeClock{now: testNow, speed: 60}
	cfg := testConfig(d)
	cfg.Token, cfg.UnsignedFlows = "", true
	cfg.Demo = &Demo{Phones: phones, Clock: clock, Tries: map[string][]string{"en": {trouble, "all of it"}, "es": {"todo bien"}}}
	return cfg, phones, clock
}
