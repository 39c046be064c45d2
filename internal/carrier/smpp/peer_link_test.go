package smpp

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"hearthline/internal/carrier"
)

func TestPeerKeepsTheLink(t *testing.T) {
	t.Parallel() // it waits for the link to come back
	p, l, _, notes := linkToPeer(t, func(c *Config) { c.Enquire, c.AnswerIn = 50*time.Millisecond, 300*time.Millisecond })
	p.expect("enquired")
	p.do(map[string]any{"do": "enquire"})
	p.expect("we_enquired")
	// A half-open link: the centre takes everything and answers nothing.
	p.mode(map[string]any{"mute": true})
	if err := l.Send(context.Background(), textTo("a.1.0", "x")); carrier.OutcomeOf(err) != carrier.Unknown {
		t.Errorf("to a mute centre: %v, want unknown", err)
	}
	await(t, notes, NoteLost)
	p.mode(map[string]any{"mute": false})
	await(t, notes, NoteBound)
	if err := l.Send(context.Background(), textTo("a.2.0", "x")); err != nil {
		t.Errorf("after the link came back: %v", err)
	}
	p.do(map[string]any{"do": "unbind"})
	p.expect("unbind_answered")
	await(t, notes, NoteLost)
	if err := l.Send(context.Background(), textTo("a.3.0", "x")); carrier.OutcomeOf(err) != carrier.NotNow {
		t.Errorf("while the link is down: %v, want Busy", err)
	}
	await(t, notes, NoteBound)
}

// The centre vanishes while a window of texts is under way: each is accounted
// for, none that the centre answered for is called open, and the rest is.
func TestPeerVanishesInMidWindow(t *testing.T) {
	t.Parallel() // it waits for the link to come back
	p, l, _, notes := linkToPeer(t, func(c *Config) { c.Window = 8 })
	p.mode(map[string]any{"dropAfter": 50, "answerAfter": 5})
	const texts = 100
	outcomes := make([]carrier.Outcome, texts)
	var wg sync.WaitGroup
	for i := range texts {
		wg.Go(func() {
			outcomes[i] = carrier.OutcomeOf(l.Send(context.Background(), textTo(fmt.Sprintf("a.%d.0", i), fmt.Sprint("text ", i))))
		})
	}
	wg.Wait()
	await(t, notes, NoteLost)
	await(t, notes, NoteBound)
	count := map[carrier.Outcome]int{}
	for _, o := range outcomes {
		count[o]++
	}
	p.do(map[string]any{"do": "count"})
	e := p.expect("count")
	if count[carrier.Refused] != 0 || count[carrier.Taken] > 50 || count[carrier.Taken] < 40 || count[carrier.Unknown] < 1 || count[carrier.Unknown] > 8 {
		t.Errorf("outcomes %v: want 42 to 50 taken, 1 to 8 unknown, the rest not now", count)
	}
	if e.Most > 8 {
		t.Errorf("%d texts were unanswered at once; the window is 8", e.Most)
	}
	// None that was called "not now" had reached the centre.
	if seen := e.Submitted; seen < count[carrier.Taken] || seen > count[carrier.Taken]+count[carrier.Unknown] {
		t.Errorf("the centre saw %d texts, outcomes %v", seen, count)
	}
	for i, o := range outcomes { // those are sent again, and every text has then left
		if o == carrier.NotNow {
			if err := l.Send(context.Background(), textTo(fmt.Sprintf("a.%d.0", i), "again")); err != nil {
				t.Errorf("text %d again: %v", i, err)
			}
		}
	}
}

func TestPeerRefusesTheBind(t *testing.T) {
	t.Parallel() // it waits for the link to come back
	p := startPeer(t)
	l, _, notes := startLink(t, fmt.Sprintf("127.0.0.1:%d", p.port), func(c *Config) { c.Password = "wrong" })
	p.expect("bind_refused")
	await(t, notes, NoteRefused)
	if l.Bound() {
		t.Error("bound with a wrong password")
	}
	p.mode(map[string]any{"password": "wrong"})
	await(t, notes, NoteBound)
}

func TestPeerGracefulEnd(t *testing.T) {
	p := startPeer(t)
	notes := make(chan string, 10)
	l, err := New(Config{Address: fmt.Sprintf("127.0.0.1:%d", p.port), SystemID: "hearth", Password: "secret", Run: "r", Note: func(what string) { notes <- what },
		Accept: func(context.Context, carrier.Incoming) error { return nil }})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- l.Run(ctx) }()
	await(t, notes, NoteBound)
	cancel()
	p.expect("unbound")
	if err := <-done; err != nil || l.Bound() {
		t.Errorf("Run = %v, bound %v", err, l.Bound())
	}
}

func TestUnreachable(t *testing.T) {
	_, _, notes := startLink(t, "127.0.0.1:1", nil)
	await(t, notes, NoteUnreachable)
}

func TestNewRefuses(t *testing.T) {
	accept := func(context.Context, carrier.Incoming) error { return nil }
	good := Config{Address: "h:1", SystemID: "a", Run: "r", Accept: accept}
	for _, c := range []struct {
		want   string
		change func(*Config)
	}{
		{"", func(*Config) {}},
		{"address", func(c *Config) { c.Address = "h" }},
		{"system_id", func(c *Config) { c.SystemID = "" }},
		{"system_id", func(c *Config) { c.SystemID = strings.Repeat("a", 16) }},
		{"password", func(c *Config) { c.Password = strings.Repeat("a", 9) }},
		{"password", func(c *Config) { c.Password = "a\x00" }},
		{"run", func(c *Config) { c.Run = "" }},
		{"accept", func(c *Config) { c.Accept = nil }},
		{"window", func(c *Config) { c.Window = 1001 }},
		{"short_ton", func(c *Config) { c.ShortTON = 7 }},
		{"enquire", func(c *Config) { c.Enquire = -1 }},
	} {
		cfg := good
		c.change(&cfg)
		if _, err := New(cfg); (c.want == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("New = %v, want %q", err, c.want)
		}
	}
}

// BenchmarkPeerSend is texts through the link against the peer on loopback,
// which answers each after 5 ms: the window bounds it at window/5ms.
func BenchmarkPeerSend(b *testing.B) {
	for _, window := range []int{1, 10, 50} {
		b.Run(fmt.Sprint("window", window), func(b *testing.B) {
			p, l, _, _ := linkToPeer(b, func(c *Config) { c.Window = window })
			p.mode(map[string]any{"answerAfter": 5, "quiet": true})
			b.ResetTimer()
			var next sync.Mutex
			left := b.N
			var wg sync.WaitGroup
			for range window {
				wg.Go(func() {
					for {
						next.Lock()
						left--
						mine := left
						next.Unlock()
						if mine < 0 {
							return
						}
						if err := l.Send(context.Background(), textTo(fmt.Sprint("a.", mine), "Time to feed: 240 mL")); err != nil {
							b.Error(err)
							return
						}
					}
				})
			}
			wg.Wait()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "texts/s")
		})
	}
}
