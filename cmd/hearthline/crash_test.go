package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"hearthline/internal/engine"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/seal"
	redisstore "hearthline/internal/store/redis"
	"hearthline/internal/testneed"
)

// crashPoints are the named points between every two steps of a text's way, of
// a nurse's act and of a text out; and kills at random. Each group has a service
// and a Redis of its own: most of a restart is waiting for the dead one's lease.
var crashPoints = map[string][]string{
	"texts in":  {"hook-verified", "hook-accepted", "intake-read"},
	"decisions": {"item-decided", "item-committed"},
	"acts":      {"event-decided", "event-committed"},
	"texts out": {"send-taken", "send-handed", "send-settled"},
	"anywhere":  {atRandom},
}

const (
	atRandom   = "SIGKILL at random"
	hitsEach   = 10
	randomHits = 20
)

// TestNoTextIsLostOrDecidedTwice kills the real binary at each named point, and
// at random ones, while texts keep coming on a real Redis; then every text that
// the hook acknowledged must have exactly one decision, and every text that a
// decision put out must have left.
func TestNoTextIsLostOrDecidedTwice(t *testing.T) {
	testneed.Slow(t)
	binary(t, "crashpoints") // built once, before the groups begin
	for group, points := range crashPoints {
		t.Run(group, func(t *testing.T) {
			t.Parallel()
			killAndCount(t, points)
		})
	}
}

func killAndCount(t *testing.T, points []string) {
	s := newService(t, "crashpoints")
	first := s.start()
	s.up(first)
	first.kill()

	p := newPoster(s)
	defer p.end()
	go p.texts()
	go p.clicks()
	hits := map[string]int{}
	random := rand.New(rand.NewPCG(1, 2))
	for _, point := range points {
		if point == atRandom {
			for range randomHits {
				run := s.start()
				time.Sleep(time.Duration(150+random.IntN(4000)) * time.Millisecond) // a kill at any instant is what is tested
				run.kill()
				hits[point]++
			}
			continue
		}
		for range hitsEach {
			run := s.start(fmt.Sprintf("HEARTHLINE_CRASH=%s:%d", point, 1+random.IntN(4)))
			select {
			case <-run.done:
				hits[point]++
			case <-time.After(time.Minute):
				t.Fatalf("crash point %s was not reached; log:\n%s", point, run.log)
			}
			if p.failed() != "" {
				t.Fatal(p.failed())
			}
		}
	}
	p.end()
	settleAndCount(t, s, p, hits)
}

// settleAndCount lets a last process finish what is left, and counts.
func settleAndCount(t *testing.T, s *service, p *poster, hits map[string]int) {
	s.up(s.start())
	books := openBooks(t, s)
	// What a killed sender had taken is free again when its lease ends, after 20 s.
	waitLong(t, "inbox and outbox to empty", func() bool {
		pulse, err := books.Pulse(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		return pulse.Inbox == 0 && pulse.Outbox == [journal.Classes]int{}
	})
	p.mu.Lock()
	defer p.mu.Unlock()
	got, out := books.count(t)
	for _, id := range p.acknowledged {
		if got[id] != 1 {
			t.Errorf("text %s was acknowledged and decided %d times", id, got[id])
		}
	}
	for id, n := range got {
		if n != 1 {
			t.Errorf("text %s was decided %d times", id, n)
		}
	}
	s.gateway.mu.Lock()
	defer s.gateway.mu.Unlock()
	for id, body := range out {
		if s.gateway.bodies[string(id)] != body {
			t.Errorf("text out %s is in a journal and did not leave", id)
		}
	}
	for id := range s.gateway.bodies {
		if _, known := out[journal.TextID(id)]; !known {
			t.Errorf("text out %s left and is in no journal", id)
		}
	}
	if len(s.gateway.bad) > 0 {
		t.Errorf("the gateway refused: %s", s.gateway.bad[0])
	}
	t.Logf("kills %v; %d texts acknowledged, each decided once; %d texts out, each left (%d handed over again under the same key); %d acts of a nurse",
		hits, len(p.acknowledged), len(out), s.gateway.twice, p.acts)
}

// poster keeps texts and a nurse's acts coming, each text until it is
// acknowledged, as carriers do.
type poster struct {
	s    *service
	quit chan struct{}
	once sync.Once
	all  sync.WaitGroup

	mu           sync.Mutex
	acknowledged []string
	problem      string
	acts         int
}

func newPoster(s *service) *poster {
	p := &poster{s: s, quit: make(chan struct{})}
	p.all.Add(2)
	return p
}

func (p *poster) end() {
	p.once.Do(func() { close(p.quit) })
	p.all.Wait()
}

func (p *poster) failed() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.problem
}

func (p *poster) stopped() bool {
	select {
	case <-p.quit:
		return true
	default:
		return false
	}
}

func (p *poster) texts() {
	defer p.all.Done()
	phones := []string{fromAna, "+12025550118", "+12025550122", "+12025550108", "+12025550104", "+12025550166"}
	bodies := []string{"gave 150 then he threw up twice", "all of it", "vomitó dos veces", "IRIS 110", "is this the clinic", "the skin is red", "240"}
	for i := 0; !p.stopped(); i++ {
		id := fmt.Sprintf("in-%d", i)
		for !p.stopped() {
			switch status := p.s.post(id, phones[i%len(phones)], bodies[i%len(bodies)]); status {
			case http.StatusOK:
				p.mu.Lock()
				p.acknowledged = append(p.acknowledged, id)
				p.mu.Unlock()
			case 0, http.StatusServiceUnavailable: // down, or dying: again with the same id
				time.Sleep(3 * time.Millisecond)
				continue
			default:
				p.mu.Lock()
				p.problem = fmt.Sprintf("text %s: the hook answered %d", id, status)
				p.mu.Unlock()
				return
			}
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// clicks claims and closes whatever is on the queue, so that acts meet the kills too.
func (p *poster) clicks() {
	defer p.all.Done()
	books := openBooks(p.s.t, p.s)
	for !p.stopped() {
		queue, _, err := books.Queue(context.Background(), 20)
		if err != nil {
			time.Sleep(10 * time.Millisecond)
			continue
		}
		for _, c := range queue {
			at := fmt.Sprintf("/case/%s/%s/", c.Household, c.ID)
			if c.Status == household.CaseOpen {
				p.act(at+"claim", url.Values{})
			} else {
				p.act(at+"close", url.Values{"disposition": {"disposition.advised"}})
			}
			if p.stopped() {
				return
			}
		}
		time.Sleep(20 * time.Millisecond)
	}
}

func (p *poster) act(path string, form url.Values) {
	if status := p.s.act(path, form); status == http.StatusSeeOther || status == http.StatusOK {
		p.mu.Lock()
		p.acts++
		p.mu.Unlock()
	}
}

// books reads what the service keeps, with its keys, beside it.
type books struct{ *engine.Engine }

func openBooks(t testing.TB, s *service) books {
	t.Helper()
	st, err := redisstore.Open(context.Background(), redisstore.Options{URL: s.redis})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = st.Close() })
	set := settings{config: config{KeyFile: filepath.Join(s.dir, "data", "keys")}}
	var keys *seal.Keys
	if keys, err = set.keys(); err != nil {
		t.Fatal(err)
	}
	return books{engine.New(engine.Config{Branch: "north", Store: st.Branch("north"), Keys: keys})}
}

// count reads every journal: how often each carrier's text was decided on for
// a household (the most of any), and which texts were put out. A text that goes
// to both of two twins is one decision on two households.
func (b books) count(t testing.TB) (in map[string]int, out map[journal.TextID]string) {
	t.Helper()
	in, out = map[string]int{}, map[journal.TextID]string{}
	ctx := context.Background()
	for _, id := range b.homes(t) {
		s, err := b.Household(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		entries, err := b.Thread(ctx, id, int(s.Entries))
		if err != nil {
			t.Fatal(err)
		}
		if int64(len(entries)) != s.Entries {
			t.Errorf("%s: the state counts %d entries, the journal has %d", id, s.Entries, len(entries))
		}
		here := map[string]int{}
		for _, e := range entries {
			if e.TextIn != nil {
				here[e.TextIn.Carrier]++
			}
			if e.TextOut != nil {
				out[e.TextOut.ID] = e.TextOut.Body
			}
		}
		for carrier, n := range here {
			in[carrier] = max(in[carrier], n)
		}
	}
	return in, out
}

func (b books) homes(t testing.TB) []journal.HouseholdID {
	rows, total, err := b.Rows(context.Background(), 0, 1000)
	if err != nil || total != len(rows) {
		t.Fatalf("households: %d of %d: %v", len(rows), total, err)
	}
	var ids []journal.HouseholdID
	for _, r := range rows {
		ids = append(ids, r.Household)
	}
	unknown, err := b.Store.Find(context.Background(), b.Keys.PhoneKey("north", "+12025550166"))
	if err != nil || len(unknown) > 0 {
		t.Fatalf("the unknown number is on file: %v %v", unknown, err)
	}
	return append(ids, engine.StrangerID(b.Keys.PhoneKey("north", "+12025550166")))
}
