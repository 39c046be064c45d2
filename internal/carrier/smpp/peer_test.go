package smpp

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"hearthline/internal/carrier"
	"hearthline/internal/journal"
	"hearthline/internal/testneed"
)

// peer is an independent message centre: the npm package smpp in a process of its own.
type peer struct {
	t      testing.TB
	in     io.Writer
	events chan event
	port   int
}

type event struct {
	Event string `json:"event"`
	Port  int
	ID    string
	Text  string
	UDH   string
	// Of submitted
	Coding, ESM, Receipt int
	From, To             struct {
		TON, NPI int
		Number   string
	}
	Status          uint32
	Tag             string
	Why             string
	SystemID        string `json:"system_id"`
	Version         int
	Submitted, Most int
	// Of what the peer sent us: answered, and those answered with a status other than 0.
	Answered, Deferred int
}

func startPeer(t testing.TB) *peer {
	t.Helper()
	dir := testneed.Node(t, "smpp")
	cmd := exec.Command(testneed.Command(t, "node"), filepath.Join(testneed.Root(t), "testdata", "carrier", "smpp-peer.js"))
	cmd.Env = append(cmd.Environ(), "NODE_PATH="+filepath.Join(dir, "node_modules"))
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var stderr strings.Builder
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p := &peer{t: t, in: in, events: make(chan event, 10_000)}
	go func() {
		defer close(p.events)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			var e event
			if err := json.Unmarshal(lines.Bytes(), &e); err != nil {
				e = event{Event: "garbled", Text: lines.Text()}
			}
			p.events <- e
		}
	}()
	t.Cleanup(func() {
		in.Close()
		_ = cmd.Wait() // it exits when its input ends; what it has to say is on stderr
		if stderr.Len() > 0 {
			t.Errorf("the peer said: %s", stderr.String())
		}
	})
	p.port = p.expect("listening").Port
	return p
}

// expect returns the next event of a kind, passing over others.
func (p *peer) expect(kind string) event {
	p.t.Helper()
	limit := time.After(30 * time.Second)
	for {
		select {
		case e, ok := <-p.events:
			if !ok {
				p.t.Fatalf("the peer ended before %q", kind)
			}
			if e.Event == kind {
				return e
			}
		case <-limit:
			p.t.Fatalf("no %q from the peer", kind)
		}
	}
}

func (p *peer) do(what map[string]any) {
	p.t.Helper()
	b, err := json.Marshal(what)
	if err != nil {
		p.t.Fatal(err)
	}
	if _, err := p.in.Write(append(b, '\n')); err != nil {
		p.t.Fatal(err)
	}
}

func (p *peer) mode(set map[string]any) {
	p.t.Helper()
	p.do(map[string]any{"do": "mode", "set": set})
	p.expect("ok")
}

// box is where a test's link stores what comes in.
type box struct {
	mu   sync.Mutex
	fail error
	came chan carrier.Incoming
}

func (b *box) accept(_ context.Context, in carrier.Incoming) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fail != nil {
		return b.fail
	}
	b.came <- in
	return nil
}

func (b *box) next(t testing.TB) carrier.Incoming {
	t.Helper()
	select {
	case in := <-b.came:
		return in
	case <-time.After(30 * time.Second):
		t.Fatal("nothing came in")
	}
	return carrier.Incoming{}
}

// startLink runs a link to an address until the test ends, and waits for its notes.
func startLink(t testing.TB, address string, change func(*Config)) (*Link, *box, chan string) {
	t.Helper()
	b := &box{came: make(chan carrier.Incoming, 1000)}
	notes := make(chan string, 1000)
	cfg := Config{Address: address, SystemID: "hearth", Password: "secret", Run: "r1", ShortTON: 3, Accept: b.accept,
		Note: func(what string) { notes <- what }, Jitter: func() float64 { return 0 }}
	if change != nil {
		change(&cfg)
	}
	l, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- l.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Run = %v", err)
		}
	})
	return l, b, notes
}

func await(t testing.TB, notes chan string, want string) {
	t.Helper()
	limit := time.After(30 * time.Second)
	for {
		select {
		case got := <-notes:
			if got == want {
				return
			}
		case <-limit:
			t.Fatalf("the link never said %q", want)
		}
	}
}

func linkToPeer(t testing.TB, change func(*Config)) (*peer, *Link, *box, chan string) {
	t.Helper()
	p := startPeer(t)
	l, b, notes := startLink(t, fmt.Sprintf("127.0.0.1:%d", p.port), change)
	await(t, notes, NoteBound)
	return p, l, b, notes
}

func textTo(id, body string) carrier.Text {
	return carrier.Text{ID: journal.TextID(id), From: "40404", To: "+12025550143", Body: body}
}
