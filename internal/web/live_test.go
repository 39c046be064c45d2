package web

import (
	"bufio"
	"context"
	"io"
	"net"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// testPatience is how long a test waits for what should come at once.
const testPatience = 10 * time.Second

// stream is an open page's line to a real server.
type stream struct {
	t      testing.TB
	events chan [2]string // name, data
	ended  chan error
	body   io.Closer
}

func listen(t testing.TB, base, cookie string) *stream {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), "GET", base+"/live", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Cookie", cookieName+"="+cookie)
	res, err := (&http.Client{Transport: &http.Transport{DisableKeepAlives: true}}).Do(r)
	if err != nil {
		t.Fatalf("stream: %v", err)
	}
	if ct := res.Header.Get("Content-Type"); res.StatusCode != http.StatusOK || ct != "text/event-stream" {
		t.Fatalf("stream = %d %s", res.StatusCode, ct)
	}
	s := &stream{t, make(chan [2]string, 1000), make(chan error, 1), res.Body}
	t.Cleanup(func() { _ = res.Body.Close() }) // the other end may be gone already
	go func() {
		sc := bufio.NewScanner(res.Body)
		var name, data string
		for sc.Scan() {
			line := sc.Text()
			switch {
			case line == "" && name != "":
				s.events <- [2]string{name, data}
				name, data = "", ""
			case strings.HasPrefix(line, "event: "):
				name = line[7:]
			case strings.HasPrefix(line, "data: "):
				data += line[6:]
			}
		}
		s.ended <- sc.Err()
	}()
	return s
}

// await returns the data of the next event of that name.
func (s *stream) await(name string) string {
	s.t.Helper()
	limit := time.After(testPatience)
	for {
		select {
		case e := <-s.events:
			if e[0] == name {
				return e[1]
			}
		case <-limit:
			s.t.Fatalf("no event %q within %v", name, testPatience)
		case err := <-s.ended:
			s.t.Fatalf("stream ended before %q: %v", name, err)
		}
	}
}

func liveSite(t testing.TB, d *fakeDesk, change func(*Config)) (*Site, string, string) {
	cfg := testConfig(d)
	cfg.Poll, cfg.Clock = 5*time.Millisecond, time.Now
	if change != nil {
		change(&cfg)
	}
	s := newSite(t, cfg)
	return s, serve(t, s), signedIn(t, s, "nora").cookie
}

func TestStreamTellsOfChanges(t *testing.T) {
	d := newDesk()
	_, base, cookie := liveSite(t, d, nil)
	pages := []*stream{listen(t, base, cookie), listen(t, base, cookie)}
	for _, p := range pages {
		// The first one at once: what changed between page and stream is not missed.
		if got := p.await("change"); got != "1" {
			t.Errorf("first change = %q, want revision 1", got)
		}
	}
	d.change(func(d *fakeDesk) {})
	for _, p := range pages {
		if got := p.await("change"); got != "2" {
			t.Errorf("change = %q, want revision 2", got)
		}
		if words := p.await("pulse"); !strings.Contains(words, "last round") {
			t.Errorf("pulse = %q", words)
		}
	}
}

// TestStreamEndsInTime: a stream must prove again, now and then, that its page
// still reads and its sign-in still holds.
func TestStreamEndsInTime(t *testing.T) {
	s := newSite(t, testConfig(newDesk()))
	s.streamLife = 20 * time.Millisecond
	p := listen(t, serve(t, s), signedIn(t, s, "nora").cookie)
	p.await("pulse")
	select {
	case <-p.ended:
	case <-time.After(testPatience):
		t.Fatal("the stream did not end")
	}
}

// TestSilenceIsToldAtOnce: when the engine stands still nothing changes in the
// store, and no heartbeat is near; the page must hear of it all the same.
func TestSilenceIsToldAtOnce(t *testing.T) {
	d := newDesk()
	var late atomic.Int64
	_, base, cookie := liveSite(t, d, func(c *Config) {
		c.Clock = func() time.Time { return testNow.Add(time.Duration(late.Load())) }
	})
	p := listen(t, base, cookie)
	if words := p.await("pulse"); strings.Contains(words, "old") {
		t.Fatalf("at first: %q", words)
	}
	late.Store(int64(staleAfter))
	if words := p.await("pulse"); !strings.Contains(words, "the list may be old") {
		t.Errorf("after %v of silence: %q", staleAfter, words)
	}
	d.change(func(d *fakeDesk) { d.pulse.Round = ms(staleAfter) })
	for strings.Contains(p.await("pulse"), "the list may be old") { // until the round is seen
	}
}

// TestManyChangesAreToldTogether: the first at once, the rest after the gap.
func TestManyChangesAreToldTogether(t *testing.T) {
	d := newDesk()
	cfg := testConfig(d)
	cfg.Poll, cfg.Heartbeat = time.Millisecond, 20*time.Millisecond
	s := newSite(t, cfg)
	s.changeGap = time.Hour
	p := listen(t, serve(t, s), signedIn(t, s, "nora").cookie)
	p.await("change")
	d.change(func(*fakeDesk) {})
	if got := p.await("change"); got != "2" {
		t.Errorf("the first change = %q, want revision 2", got)
	}
	for range 5 {
		d.change(func(*fakeDesk) {})
		p.await("tick")
	}
	for len(p.events) > 0 {
		if e := <-p.events; e[0] == "change" {
			t.Errorf("a change was told within the gap: %v", e)
		}
	}
}

func TestStreamBeats(t *testing.T) {
	_, base, cookie := liveSite(t, newDesk(), func(c *Config) { c.Heartbeat = 10 * time.Millisecond })
	p := listen(t, base, cookie)
	for range 3 {
		p.await("tick")
		p.await("pulse")
	}
}

func TestDemoStreamKeepsTheClock(t *testing.T) {
	d := newDesk()
	cfg, _, clock := demoConfig(d)
	cfg.Heartbeat = 10 * time.Millisecond
	s := newSite(t, cfg)
	base := serve(t, s)
	c := &client{t: t, site: s}
	c.get("/")
	p := listen(t, base, c.cookie)
	if got := p.await("clock"); !strings.Contains(got, "03:12:40 CDT") {
		t.Errorf("clock = %q", got)
	}
	clock.Skip(time.Hour)
	for !strings.Contains(p.await("clock"), "04:12:40 CDT") {
	}
}

// TestOnePollerForAllPages: twenty open pages read the pulse no more often than none.
func TestOnePollerForAllPages(t *testing.T) {
	d := newDesk()
	s, base, cookie := liveSite(t, d, func(c *Config) { c.Poll = time.Hour })
	for range 20 {
		listen(t, base, cookie).await("pulse")
	}
	if n := s.watch.open(); n != 20 {
		t.Errorf("%d pages hang on the watch, want 20", n)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.pulses != 1 {
		t.Errorf("the pulse was read %d times, want once, at the start", d.pulses)
	}
}

func TestPagesThatLeaveAreForgotten(t *testing.T) {
	s, base, cookie := liveSite(t, newDesk(), func(c *Config) { c.Heartbeat = 5 * time.Millisecond })
	p := listen(t, base, cookie)
	p.await("pulse")
	if err := p.body.Close(); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "the page is let go", func() bool { return s.watch.open() == 0 })
}

// waitFor looks again and again until something that another goroutine does is seen.
func waitFor(t testing.TB, what string, seen func() bool) {
	t.Helper()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	limit := time.After(2 * testPatience)
	for !seen() {
		select {
		case <-tick.C:
		case <-limit:
			t.Fatalf("not within %v: %s", 2*testPatience, what)
		}
	}
}

// smallBuffers keeps the kernel from taking megabytes for a page that reads nothing.
type smallBuffers struct{ net.Listener }

func (l smallBuffers) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err == nil {
		err = c.(*net.TCPConn).SetWriteBuffer(4096)
	}
	return c, err
}

// TestPageThatStopsReadingIsLetGo: a page whose computer sleeps keeps its
// connection and reads nothing; it must not hold a stream for ever, nor anybody up.
func TestPageThatStopsReadingIsLetGo(t *testing.T) {
	d := newDesk()
	cfg := testConfig(d)
	cfg.Clock, cfg.Heartbeat = time.Now, time.Millisecond
	s := newSite(t, cfg)
	s.flushTimeout = 300 * time.Millisecond
	ln, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	base, cookie := serveOn(t, s, smallBuffers{ln}), signedIn(t, s, "nora").cookie
	conn, err := (&net.Dialer{}).DialContext(t.Context(), "tcp", strings.TrimPrefix(base, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() }) // closed by the server already
	if err := conn.(*net.TCPConn).SetReadBuffer(1024); err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(conn, "GET /live HTTP/1.1\r\nHost: x\r\nCookie: "+cookieName+"="+cookie+"\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "the page hangs on the watch", func() bool { return s.watch.open() == 1 })
	reader := listen(t, base, cookie)
	reader.await("tick") // another page is not held up
	waitFor(t, "the page that does not read is let go", func() bool { return s.watch.open() == 1 })
	reader.await("tick")
}

func TestCloseEndsStreams(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent(), goleak.IgnoreAnyFunction("github.com/valyala/fasthttp.updateServerDate.func1"),
		goleak.IgnoreAnyFunction("github.com/valyala/fasthttp.(*workerPool).Start.func2")) // they end in their own time
	cfg := testConfig(newDesk())
	cfg.Poll = 5 * time.Millisecond
	s, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	base := serve(t, s)
	cookie := signedIn(t, s, "nora").cookie
	var pages []*stream
	for range 3 {
		p := listen(t, base, cookie)
		p.await("pulse")
		pages = append(pages, p)
	}
	ctx, cancel := context.WithTimeout(context.Background(), testPatience)
	defer cancel()
	if err := s.Close(ctx); err != nil {
		t.Fatalf("Close: %v; it waited for open pages", err)
	}
	for _, p := range pages {
		select {
		case <-p.ended:
		case <-time.After(testPatience):
			t.Fatal("a stream outlives the site")
		}
	}
	if s.watch.join() != nil {
		t.Error("a closed site takes a page")
	}
}

func TestTooManyPagesAreRefusedInWords(t *testing.T) {
	s := newSite(t, testConfig(newDesk()))
	for range maxStreams {
		s.watch.join()
	}
	status, page, _ := signedIn(t, s, "nora").do("GET", "/live", nil)
	if status != http.StatusServiceUnavailable {
		t.Errorf("= %d\n%s", status, page)
	}
}

func TestPanicInAStreamEndsOnlyIt(t *testing.T) {
	d := newDesk()
	cfg, _, clock := demoConfig(d)
	s := newSite(t, cfg)
	base := serve(t, s)
	c := &client{t: t, site: s}
	c.get("/")
	clock.broken.Store(true)
	p := listen(t, base, c.cookie)
	select {
	case <-p.ended:
	case <-time.After(testPatience):
		t.Fatal("the stream did not end")
	}
	waitFor(t, "the page is let go", func() bool { return s.watch.open() == 0 })
}

func TestFlowInWords(t *testing.T) {
	for _, tt := range []struct {
		name  string
		pulse store.Pulse
		after time.Duration // since the round was seen
		fail  bool
		want  string
		old   bool
	}{
		{"fresh", store.Pulse{Round: ms(-2 * time.Second)}, 0, false, "Engine's last round 2 s ago.", false},
		{"45 s", store.Pulse{Round: ms(0)}, 45 * time.Second, false, "Engine's last round 45 s ago.", false},
		{"over 45 s", store.Pulse{Round: ms(0)}, 46 * time.Second, false, "Engine's last round 46 s ago. Texts may wait unread and reminders unsent: the list may be old.", true},
		{"never", store.Pulse{}, 0, false, say("flow.round_never"), true},
		{"old at the start", store.Pulse{Round: ms(-5 * time.Minute)}, 0, false, "Engine's last round 5 min ago. Texts may wait unread and reminders unsent: the list may be old.", true},
		{"queues", store.Pulse{Round: ms(0), Inbox: 3, Outbox: [journal.Classes]int{1, 0, 2}}, 0, false, "Engine's last round 0 s ago. Texts waiting to be read: 3. Waiting to go out: 3.", false},
		{"store down", store.Pulse{Round: ms(0)}, 7 * time.Second, true, "The store has not answered for 7 s: the list may be old.", true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d, now := newDesk(), testNow
			d.pulse = tt.pulse
			cfg := testConfig(d)
			cfg.Clock, cfg.Poll = func() time.Time { return now }, time.Hour
			s := newSite(t, cfg)
			if tt.fail {
				d.mu.Lock()
				d.fail = errStoreDown
				d.mu.Unlock()
				s.watch.look(context.Background())
			}
			now = now.Add(tt.after)
			f := s.flow()
			if got := strings.Join(f.Words, " "); got != tt.want || f.Old != tt.old {
				t.Errorf("= %q, old %v, want %q, %v", got, f.Old, tt.want, tt.old)
			}
		})
	}
}

// TestDemoClockThatStandsStill: the engine's round cannot move then, and that is no fault.
func TestDemoClockThatStandsStill(t *testing.T) {
	now := testNow
	cfg, _, clock := demoConfig(newDesk())
	cfg.Clock, cfg.Poll = func() time.Time { return now }, time.Hour
	s := newSite(t, cfg)
	clock.SetSpeed(0)
	now = now.Add(time.Hour)
	if f := s.flow(); f.Old || f.Words[0] != say("flow.round_still") {
		t.Errorf("standing still: %q, old %v", f.Words, f.Old)
	}
	clock.SetSpeed(600)
	if f := s.flow(); !f.Old {
		t.Errorf("running, and no round for an hour: %q", f.Words)
	}
}

func TestFragmentsAreSilentWhenNothingIsNew(t *testing.T) {
	d := newDesk()
	c := signedIn(t, newSite(t, testConfig(d)), "nora")
	for _, tt := range [][2]string{{"/queue", "#queue"}, {"/households", "#households"}, {"/household/maple-17", "#standing"},
		{"/case/maple-17/maple-17.11.1", "#standing"}, {"/case/maple-17/maple-17.11.1", "#record"}} {
		p := c.get(tt[0])
		from, seen := p.attr(tt[1], "hx-get"), p.attr(tt[1]+" .seen", "value")
		sep := "?"
		if strings.Contains(from, "?") {
			sep = "&"
		}
		if status, body, _ := c.do("GET", from+sep+"seen="+seen, nil); status != http.StatusNoContent {
			t.Errorf("%s of %s, nothing new = %d, want 204\n%s", tt[1], tt[0], status, body)
		}
		if status, body, _ := c.do("GET", from+sep+"seen=other", nil); status != http.StatusOK || !strings.Contains(body, seen) {
			t.Errorf("%s of %s, something new = %d", tt[1], tt[0], status)
		}
	}
}
