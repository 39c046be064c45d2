package smpp

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
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

func TestPeerTextsOut(t *testing.T) {
	p, l, _, _ := linkToPeer(t, nil)
	if e := p.expect("bound"); e.SystemID != "hearth" || e.Version != 0x34 {
		t.Errorf("bound as %+v", e)
	}
	ctx := context.Background()
	for _, c := range []struct {
		body   string
		coding int
		parts  int
	}{
		{"Time to feed @ 240 mL {ok} €5", 0, 1},
		{"Hora de la toma: mañana 38°C sí \U0001F600", 8, 1},
		{strings.Repeat("0123456789", 16), 0, 1},
		{strings.Repeat("0123456789", 16) + "€", 0, 2},
		{strings.Repeat("agua más ", 15), 8, 3},
	} {
		if err := l.Send(ctx, textTo("maple-17.1.0", c.body)); err != nil {
			t.Fatalf("%q: %v", c.body, err)
		}
		got := ""
		for i := range c.parts {
			e := p.expect("submitted")
			if e.Coding != c.coding || e.Receipt != 1 || e.From.TON != 3 || e.From.Number != "40404" || e.To.TON != 1 || e.To.NPI != 1 || e.To.Number != "12025550143" {
				t.Errorf("%q arrived as %+v", c.body, e)
			}
			if c.parts > 1 && (e.ESM != 0x40 || !strings.HasSuffix(e.UDH, fmt.Sprintf("%02x%02x", c.parts, i+1))) {
				t.Errorf("part %d has esm_class 0x%02x and header %q", i+1, e.ESM, e.UDH)
			}
			got += e.Text
		}
		if got != c.body {
			t.Errorf("arrived as %q, want %q", got, c.body)
		}
	}
	p.do(map[string]any{"do": "count"})
	if e := p.expect("count"); e.Submitted != 8 {
		t.Errorf("%d parts in all, want 8", e.Submitted)
	}
}

func TestPeerRefusals(t *testing.T) {
	p, l, _, _ := linkToPeer(t, nil)
	ctx := context.Background()
	for _, c := range []struct {
		mode  map[string]any
		body  string
		want  carrier.Outcome
		after time.Duration
	}{
		{map[string]any{"throttle": 1}, "x", carrier.NotNow, time.Second},
		{map[string]any{"queueFull": 1}, "x", carrier.NotNow, time.Second},
		{map[string]any{"refuse": 1}, "x", carrier.Refused, 0},
		{map[string]any{"refuse": 1, "status": 0x45}, "x", carrier.NotNow, 0},
		{map[string]any{"throttle": 1}, strings.Repeat("x", 200), carrier.NotNow, time.Second}, // the first part: nothing was sent
		{map[string]any{}, strings.Repeat("x", 153*10+1), carrier.Refused, 0},
		{map[string]any{}, "x", carrier.Taken, 0},
	} {
		p.mode(c.mode)
		err := l.Send(ctx, textTo("maple-17.1.0", c.body))
		var busy *carrier.Busy
		if carrier.OutcomeOf(err) != c.want || errors.As(err, &busy) && busy.After != c.after {
			t.Errorf("%v: %v, want outcome %v, wait %v", c.mode, err, c.want, c.after)
		}
	}
	if err := l.Send(ctx, carrier.Text{ID: "x", From: "40404", Body: "x"}); carrier.OutcomeOf(err) != carrier.Refused {
		t.Errorf("to nobody: %v", err)
	}
}

func TestPeerTextsIn(t *testing.T) {
	p, _, b, notes := linkToPeer(t, nil)
	for _, c := range []struct {
		do   map[string]any
		from string
		want string
	}{
		{map[string]any{"text": "gave 150 @ 9 {ok} €"}, "+12025550143", "gave 150 @ 9 {ok} €"},
		{map[string]any{"text": "gave 150 @ 9 {ok} €", "coding": 0}, "+12025550143", "gave 150 @ 9 {ok} €"},
		{map[string]any{"text": "vomitó \U0001F622", "coding": 8}, "+12025550143", "vomitó \U0001F622"},
		{map[string]any{"text": "vomitó señor", "coding": 3}, "+12025550143", "vomitó señor"},
		{map[string]any{"text": strings.Repeat("long ", 100), "payload": true}, "+12025550143", strings.Repeat("long ", 100)},
		{map[string]any{"text": "", "coding": 0}, "+12025550143", ""},
		{map[string]any{"text": "offer", "from": "BANK", "ton": 5}, "BANK", "offer"},
		{map[string]any{"text": "code", "from": "90210", "ton": 3}, "90210", "code"},
	} {
		c.do["do"] = "text"
		p.do(c.do)
		in := b.next(t)
		if in.Kind != carrier.KindText || in.From != c.from || in.To != "40404" || in.Body != c.want || !strings.HasPrefix(in.ID, "r1/") || in.At.IsZero() {
			t.Errorf("%v came in as %+v", c.do, in)
		}
		if e := p.expect("answered"); e.Status != statusOK {
			t.Errorf("%v was answered 0x%02x", c.do, e.Status)
		}
	}
	// The same words twice are two texts.
	for range 2 {
		p.do(map[string]any{"do": "text", "text": "done"})
	}
	if one, two := b.next(t), b.next(t); one.ID == two.ID || one.Body != "done" || two.Body != "done" {
		t.Errorf("%+v and %+v", one, two)
	}
	// Three parts, out of order, with an emoji over none of the seams; held until whole, then each answered.
	for _, part := range []struct{ udh, text string }{{"050003070303", "\U0001F600 three"}, {"050003070301", "one "}, {"050003070302", "two "}} {
		p.do(map[string]any{"do": "text", "text": part.text, "coding": 8, "udh": part.udh})
	}
	if in := b.next(t); in.Body != "one two \U0001F600 three" {
		t.Errorf("joined as %q", in.Body)
	}
	for range 5 {
		if e := p.expect("answered"); e.Status != statusOK {
			t.Errorf("answered 0x%02x", e.Status)
		}
	}
	// The store is down: come again; it is up: stored, under the same id the second time.
	b.mu.Lock()
	b.fail = errors.New("down")
	b.mu.Unlock()
	p.do(map[string]any{"do": "text", "text": "he threw up"})
	if e := p.expect("answered"); e.Status != statusTryAgain {
		t.Errorf("answered 0x%02x while the store was down, want 0x64", e.Status)
	}
	await(t, notes, NoteNotStored)
	b.mu.Lock()
	b.fail = nil
	b.mu.Unlock()
	p.do(map[string]any{"do": "text", "text": "he threw up"})
	if in := b.next(t); in.Body != "he threw up" || !strings.HasSuffix(in.ID, "/1") {
		t.Errorf("came in as %+v", in)
	}
}

func TestPeerPartsThatNeverCome(t *testing.T) {
	p, _, b, notes := linkToPeer(t, func(c *Config) { c.PartWait = 50 * time.Millisecond })
	p.do(map[string]any{"do": "text", "text": "he threw up", "coding": 8, "udh": "050003090202"})
	if in := b.next(t); in.Body != "…he threw up" {
		t.Errorf("came in as %q", in.Body)
	}
	await(t, notes, NotePieces)
	if e := p.expect("answered"); e.Status != statusOK {
		t.Errorf("answered 0x%02x", e.Status)
	}
}

func TestPeerReceipts(t *testing.T) {
	p, l, b, notes := linkToPeer(t, nil)
	ctx := context.Background()
	send := func(id, body string, parts int) (ids []string) {
		t.Helper()
		if err := l.Send(ctx, textTo(id, body)); err != nil {
			t.Fatal(err)
		}
		for range parts {
			ids = append(ids, p.expect("submitted").ID)
		}
		return ids
	}
	want := func(id, status, why string) {
		t.Helper()
		in := b.next(t)
		if in.Kind != carrier.KindReceipt || in.Receipt.Text != journal.TextID(id) || in.Receipt.Status != status || in.Receipt.Why != why || in.ID != "receipt/"+status+"/"+id {
			t.Errorf("receipt %+v %+v, want %s %s %q", in, in.Receipt, id, status, why)
		}
	}
	one := send("a.1.0", "x", 1)
	p.do(map[string]any{"do": "receipt", "id": one[0], "stat": "ACCEPTD"}) // no news
	p.do(map[string]any{"do": "receipt", "id": one[0], "stat": "DELIVRD"})
	want("a.1.0", "delivered", "")
	two := send("a.2.0", "x", 1)
	p.do(map[string]any{"do": "receipt", "id": two[0], "tlv": 5})
	want("a.2.0", "undelivered", "UNDELIV")
	// Of two parts: delivered when both are.
	long := send("a.3.0", strings.Repeat("x", 200), 2)
	p.do(map[string]any{"do": "receipt", "id": long[1], "stat": "DELIVRD"})
	p.do(map[string]any{"do": "receipt", "id": long[1], "stat": "DELIVRD"}) // doubled
	p.do(map[string]any{"do": "receipt", "id": long[0], "stat": "DELIVRD"})
	want("a.3.0", "delivered", "")
	half := send("a.4.0", strings.Repeat("x", 200), 2)
	p.do(map[string]any{"do": "receipt", "id": half[0], "stat": "DELIVRD"})
	p.do(map[string]any{"do": "receipt", "id": half[1], "stat": "EXPIRED"})
	want("a.4.0", "undelivered", "EXPIRED, error 007")
	// For a text of nobody: answered, told, not stored.
	p.do(map[string]any{"do": "receipt", "id": "id-999", "stat": "DELIVRD"})
	await(t, notes, NoteReceiptUnknown)
	// Before the answer to the text itself.
	p.mode(map[string]any{"early": true})
	send("a.5.0", "x", 1)
	want("a.5.0", "delivered", "")
	for answered := 0; answered < 10; { // each of the ten
		p.do(map[string]any{"do": "count"})
		e := p.expect("count")
		if answered = e.Answered; e.Deferred != 0 {
			t.Fatalf("%d receipts were not taken", e.Deferred)
		}
	}
	if len(b.came) != 0 {
		t.Errorf("%d more came in", len(b.came))
	}
}

func TestPeerKeepsTheLink(t *testing.T) {
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
