package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"hearthline/internal/carrier"
	"hearthline/internal/testneed"
)

// The service under test: the real binary, a real redis-server that outlives
// it, and a gateway of the test's own that takes the texts out.

const (
	testToken  = "a-token-for-tests-only"
	testSecret = "whsec_aW52ZW50ZWQgZm9yIHRlc3RzIG9ubHksIG5vIHNlY3JldA=="
	fromAna    = "+12025550117"
)

var built struct {
	sync.Mutex
	path map[string]string
	dir  string
}

// binary builds hearthline once a test run, with the build tags given.
func binary(t testing.TB, tags string) string {
	t.Helper()
	built.Lock()
	defer built.Unlock()
	if p := built.path[tags]; p != "" {
		return p
	}
	if built.dir == "" {
		dir, err := os.MkdirTemp("", "hearthline-test-")
		if err != nil {
			t.Fatal(err)
		}
		built.dir, built.path = dir, map[string]string{}
	}
	p := filepath.Join(built.dir, "hearthline-"+tags)
	cmd := exec.Command("go", "build", "-tags", tags, "-o", p, ".")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	built.path[tags] = p
	return p
}

func TestMain(m *testing.M) {
	code := m.Run()
	if built.dir != "" {
		_ = os.RemoveAll(built.dir) // a folder in the system's own place for such
	}
	os.Exit(code)
}

// startRedis runs a redis-server of the test's own and returns its URL.
func startRedis(t testing.TB) string {
	t.Helper()
	path := testneed.Command(t, "redis-server")
	dir := t.TempDir()
	socket := filepath.Join(shortDir(t), "r.sock")
	cmd := exec.Command(path, "--port", "0", "--unixsocket", socket, "--dir", dir,
		"--appendonly", "yes", "--appendfsync", "always", "--no-appendfsync-on-rewrite", "no",
		"--maxmemory-policy", "noeviction", "--save", "", "--loglevel", "warning")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM) // it may be gone already
		_ = cmd.Wait()
	})
	waitFor(t, "redis-server", func() bool {
		c, err := net.Dial("unix", socket)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	return "unix://" + socket
}

// shortDir is a folder whose name is short enough for a socket.
func shortDir(t testing.TB) string {
	dir, err := os.MkdirTemp("", "hl")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// waitFor polls until ok, for at most 20 s of real time: for other processes,
// whose time is not ours to give.
func waitFor(t testing.TB, what string, ok func() bool) {
	t.Helper()
	await(t, 20*time.Second, what, ok)
}

// waitLong is waitFor with two minutes.
func waitLong(t testing.TB, what string, ok func() bool) {
	t.Helper()
	await(t, 2*time.Minute, what, ok)
}

func await(t testing.TB, limit time.Duration, what string, ok func() bool) {
	t.Helper()
	deadline := time.Now().Add(limit)
	for !ok() {
		if time.Now().After(deadline) {
			t.Fatalf("%s: not within %s", what, limit)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// gateway takes our texts out, verifies their signatures, and sends each once.
type gateway struct {
	*httptest.Server
	t      testing.TB
	mu     sync.Mutex
	bodies map[string]string // by text id
	to     map[string]string
	order  []string
	twice  int
	bad    []string
}

func startGateway(t testing.TB) *gateway {
	secret, err := carrier.ParseSecret(testSecret)
	if err != nil {
		t.Fatal(err)
	}
	g := &gateway{t: t, bodies: map[string]string{}, to: map[string]string{}}
	g.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			return
		}
		h := carrier.Headers{ID: r.Header.Get(carrier.HeaderID), Timestamp: r.Header.Get(carrier.HeaderTimestamp), Signature: r.Header.Get(carrier.HeaderSignature)}
		var text struct{ ID, To, Body string }
		g.mu.Lock()
		defer g.mu.Unlock()
		if err := carrier.Verify([]carrier.Secret{secret}, h, body, time.Now()); err != nil {
			g.bad = append(g.bad, err.Error())
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		if err := json.Unmarshal(body, &text); err != nil || text.ID != h.ID {
			g.bad = append(g.bad, fmt.Sprintf("body %s under id %s: %v", body, h.ID, err))
		}
		if _, seen := g.bodies[text.ID]; seen {
			g.twice++ // the same key: sent on once
		} else {
			g.order = append(g.order, text.ID)
		}
		g.bodies[text.ID], g.to[text.ID] = text.Body, text.To
		w.WriteHeader(http.StatusAccepted)
	}))
	t.Cleanup(g.Close)
	return g
}

// got returns the texts that went to a phone, in order.
func (g *gateway) got(phone string) []string {
	g.mu.Lock()
	defer g.mu.Unlock()
	var out []string
	for _, id := range g.order {
		if g.to[id] == phone {
			out = append(out, g.bodies[id])
		}
	}
	return out
}

// service is one configuration and the processes that run on it.
type service struct {
	t       testing.TB
	dir     string
	config  string
	pages   string
	hook    string
	binary  string
	gateway *gateway
	redis   string
}

func newService(t testing.TB, tags string) *service {
	s := &service{t: t, dir: t.TempDir(), binary: binary(t, tags), redis: startRedis(t), gateway: startGateway(t)}
	s.pages, s.hook = freePort(t), freePort(t)
	s.config = filepath.Join(s.dir, "hearthline.yaml")
	text := fmt.Sprintf(`branch: north
service: Invented Home Feeding
call: "+1 202 555 0199"
zone: America/Chicago
pages: %s
hook: %s
token: %s
data: data
redis_url: %s
households: %s
unsigned_flows: true
in: {secrets: [%s]}
out: {url: "%s/texts", from: "+12025550100", secrets: [%s]}
`, s.pages, s.hook, testToken, s.redis, filepath.Join(testneed.Root(t), "testdata", "households"), testSecret, s.gateway.URL, testSecret)
	if err := os.WriteFile(s.config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return s
}

func freePort(t testing.TB) string {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer ln.Close()
	return ln.Addr().String()
}

// process is one run of serve.
type process struct {
	*exec.Cmd
	log  *logTail
	done chan struct{}
}

// start runs serve; it need not be up when start returns.
func (s *service) start(env ...string) *process {
	s.t.Helper()
	p := &process{Cmd: exec.Command(s.binary, "serve", "--config", s.config), log: &logTail{}, done: make(chan struct{})}
	p.Env = append(os.Environ(), env...)
	p.Stdout, p.Stderr = p.log, p.log
	if err := p.Start(); err != nil {
		s.t.Fatal(err)
	}
	go func() {
		_ = p.Wait() // how it ended does not matter here
		close(p.done)
	}()
	s.t.Cleanup(p.kill)
	return p
}

func (p *process) kill() {
	_ = p.Process.Kill() // it may be gone already
	<-p.done
}

func (p *process) gone() bool {
	select {
	case <-p.done:
		return true
	default:
		return false
	}
}

// up waits until the pages answer.
func (s *service) up(p *process) {
	s.t.Helper()
	waitFor(s.t, "serve", func() bool {
		if p.gone() {
			s.t.Fatalf("serve ended:\n%s", p.log)
		}
		r, err := http.Get("http://" + s.pages + "/signin")
		if err != nil {
			return false
		}
		r.Body.Close()
		return r.StatusCode == http.StatusOK
	})
}

// post brings a text to the hook once, signed, and returns the status; 0 when
// no answer came.
func (s *service) post(id, from, body string) int {
	s.t.Helper()
	secret, err := carrier.ParseSecret(testSecret)
	if err != nil {
		s.t.Fatal(err)
	}
	b, err := json.Marshal(map[string]any{"kind": "text", "from": from, "to": "+12025550100", "body": body})
	if err != nil {
		s.t.Fatal(err)
	}
	now := time.Now()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+s.hook+"/hook", bytes.NewReader(b))
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set(carrier.HeaderID, id)
	r.Header.Set(carrier.HeaderTimestamp, fmt.Sprint(now.Unix()))
	r.Header.Set(carrier.HeaderSignature, carrier.Sign([]carrier.Secret{secret}, id, now, b))
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0
	}
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, resp.Body) // so that the connection is used again
	return resp.StatusCode
}

// act carries out a nurse's act through the pages, as a program with the token.
func (s *service) act(path string, form url.Values) int {
	r, err := http.NewRequest(http.MethodPost, "http://"+s.pages+path, strings.NewReader(form.Encode()))
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Authorization", "Bearer "+testToken)
	c := http.Client{Timeout: 5 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := c.Do(r)
	if err != nil {
		return 0
	}
	resp.Body.Close()
	return resp.StatusCode
}

// logTail keeps what a process printed.
type logTail struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logTail) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logTail) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
