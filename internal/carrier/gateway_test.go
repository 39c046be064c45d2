package carrier

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"hearthline/internal/journal"
)

var someText = Text{ID: "maple-17.4.0", To: "+12025550143", Body: "Time to feed: 240 mL é €", Class: journal.ClassReminder}

func gateway(t testing.TB, cfg GatewayConfig) *Gateway {
	t.Helper()
	if cfg.Secrets == nil {
		cfg.Secrets = []Secret{secret(t, vectorSecret)}
	}
	g, err := NewGateway(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestGatewaySends(t *testing.T) {
	newer := secret(t, "whsec_"+strings.Repeat("QUJD", 10))
	older := secret(t, vectorSecret)
	got := make(chan outgoing, 1)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		h := Headers{r.Header.Get("webhook-id"), r.Header.Get("webhook-timestamp"), r.Header.Get("webhook-signature")}
		for _, k := range []Secret{newer, older} { // whichever of the two the gateway knows
			if err := Verify([]Secret{k}, h, body, time.Now()); err != nil {
				t.Errorf("the gateway does not believe us: %v", err)
			}
		}
		if r.Method != http.MethodPost || r.Header.Get("Content-Type") != "application/json" || h.ID != string(someText.ID) {
			t.Errorf("%s %q id %q", r.Method, r.Header.Get("Content-Type"), h.ID)
		}
		var o outgoing
		if err := json.Unmarshal(body, &o); err != nil {
			t.Error(err)
		}
		got <- o
		w.WriteHeader(http.StatusAccepted)
	}))
	defer server.Close()
	g := gateway(t, GatewayConfig{URL: server.URL + "/texts?account=7", Secrets: []Secret{newer, older}, From: "+12025550100"})
	if err := g.Send(context.Background(), someText); err != nil {
		t.Fatal(err)
	}
	want := outgoing{"text", "maple-17.4.0", "+12025550100", "+12025550143", someText.Body, "reminder"}
	if o := <-got; o != want {
		t.Errorf("sent %+v, want %+v", o, want)
	}
	other := someText
	other.From, other.Class = "40404", journal.ClassTrouble
	if err := g.Send(context.Background(), other); err != nil {
		t.Fatal(err)
	}
	if o := <-got; o.From != "40404" || o.Class != "trouble" {
		t.Errorf("sent %+v, want from 40404, class trouble", o)
	}
	if !g.Idempotent() {
		t.Error("the signed gateway honours the id")
	}
}

func TestGatewayAnswers(t *testing.T) {
	far := time.Date(2026, 5, 2, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name    string
		code    int
		headers map[string]string
		body    string
		want    Outcome
		after   time.Duration
		why     string
	}{
		{"200", 200, nil, "", Taken, 0, ""},
		{"202", 202, nil, "{}", Taken, 0, ""},
		{"204", 204, nil, "", Taken, 0, ""},
		{"400", 400, nil, "", Refused, 0, "400"},
		{"413", 413, nil, "", Refused, 0, "413"},
		{"422 says why", 422, map[string]string{"Content-Type": "application/json; charset=utf-8"}, `{"error":"no mobile: +12025550143"}`, Refused, 0, "422: no mobile: …"},
		{"why as text is not repeated", 422, map[string]string{"Content-Type": "text/html"}, `<b>error</b>`, Refused, 0, "answered 422"},
		{"451", 451, nil, "", Refused, 0, "451"},
		{"408", 408, nil, "", Unknown, 0, "408"},
		{"409", 409, nil, "", Unknown, 0, "409"},
		{"425", 425, nil, "", NotNow, 0, "425"},
		{"429", 429, nil, "", NotNow, 0, "429"},
		{"429 with seconds", 429, map[string]string{"Retry-After": "7"}, "", NotNow, 7 * time.Second, "429"},
		{"429 with nought", 429, map[string]string{"Retry-After": "0"}, "", NotNow, time.Second, "429"},
		{"429 with a year", 429, map[string]string{"Retry-After": "31536000"}, "", NotNow, time.Hour, "429"},
		{"429 with nonsense", 429, map[string]string{"Retry-After": "soon"}, "", NotNow, 0, "429"},
		{"503 with a date", 503, map[string]string{"Retry-After": far.Add(90 * time.Second).Format(http.TimeFormat), "Date": far.Format(http.TimeFormat)}, "", NotNow, 90 * time.Second, "503"},
		{"503 with a date gone by", 503, map[string]string{"Retry-After": far.Add(-time.Hour).Format(http.TimeFormat), "Date": far.Format(http.TimeFormat)}, "", NotNow, time.Second, "503"},
		{"503 without", 503, nil, "", Unknown, 0, "503"},
		{"500", 500, nil, "", Unknown, 0, "500"},
		{"502", 502, nil, "", Unknown, 0, "502"},
		{"504", 504, nil, "", Unknown, 0, "504"},
		{"401: the secret, not the text", 401, nil, "", NotNow, 0, "secret"},
		{"403", 403, nil, "", NotNow, 0, "secret"},
		{"404: the address, not the text", 404, nil, "", NotNow, 0, "address"},
		{"405", 405, nil, "", NotNow, 0, "address"},
		{"410", 410, nil, "", NotNow, 0, "address"},
		{"301", 301, map[string]string{"Location": "/elsewhere"}, "", NotNow, 0, "redirects are not followed"},
		{"307", 307, map[string]string{"Location": "https://other.example/"}, "", NotNow, 0, "redirects are not followed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var calls atomic.Int32
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				calls.Add(1)
				for k, v := range c.headers {
					w.Header().Set(k, v)
				}
				w.WriteHeader(c.code)
				io.WriteString(w, c.body)
			}))
			defer server.Close()
			err := gateway(t, GatewayConfig{URL: server.URL}).Send(context.Background(), someText)
			if got := OutcomeOf(err); got != c.want {
				t.Fatalf("outcome %v (%v), want %v", got, err, c.want)
			}
			if n := calls.Load(); n != 1 {
				t.Errorf("%d requests, want 1", n)
			}
			if err == nil {
				return
			}
			var busy *Busy
			if errors.As(err, &busy) && busy.After != c.after {
				t.Errorf("wait %v, want %v", busy.After, c.after)
			}
			if !strings.Contains(err.Error(), c.why) || leaks(err) {
				t.Errorf("error %q, want %q and nothing of the text", err, c.why)
			}
		})
	}
}

// leaks reports whether an error holds what must not be logged.
func leaks(err error) bool {
	s := err.Error()
	return strings.Contains(s, "2025550143") || strings.Contains(s, "feed") || strings.Contains(s, "127.0.0.1") || strings.Contains(s, "token")
}

func TestGatewayUnreachable(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	url := "http://" + l.Addr().String() + "/?token=abc"
	l.Close()
	sent := gateway(t, GatewayConfig{URL: url}).Send(context.Background(), someText)
	if OutcomeOf(sent) != NotNow || leaks(sent) {
		t.Errorf("nobody listens: %v, want a Busy without the address", sent)
	}

	server := httptest.NewUnstartedServer(http.NotFoundHandler())
	server.Config.ErrorLog = log.New(io.Discard, "", 0) // the refused handshake is meant
	server.StartTLS()
	defer server.Close()
	sent = gateway(t, GatewayConfig{URL: server.URL, Client: &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{}}}}).Send(context.Background(), someText)
	if OutcomeOf(sent) != NotNow || !strings.Contains(sent.Error(), "certificate") {
		t.Errorf("a certificate of nobody: %v, want a Busy that says so", sent)
	}
}

// A gateway that took the request and then went quiet may have the text.
func TestGatewayGoesQuiet(t *testing.T) {
	for name, behave := range map[string]func(net.Conn){
		"closes without an answer": func(c net.Conn) { c.Close() },
		"half an answer":           func(c net.Conn) { io.WriteString(c, "HTTP/1.1 20"); c.Close() },
		"not HTTP":                 func(c net.Conn) { io.WriteString(c, "SSH-2.0-x\r\n\r\n"); c.Close() },
		"says nothing":             func(net.Conn) {},
	} {
		t.Run(name, func(t *testing.T) {
			url, _ := rawServer(t, behave)
			err := gateway(t, GatewayConfig{URL: url, Timeout: 150 * time.Millisecond}).Send(context.Background(), someText)
			if OutcomeOf(err) != Unknown || leaks(err) {
				t.Errorf("Send = %v, want an error that leaves it open", err)
			}
			if name == "says nothing" && !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("Send = %v, want a deadline that was exceeded", err)
			}
		})
	}
}

// The status line decides; a body that never ends cannot hold the sender up.
func TestGatewaySlowBody(t *testing.T) {
	for code, want := range map[int]Outcome{200: Taken, 422: Refused} {
		url, _ := rawServer(t, func(c net.Conn) {
			fmt.Fprintf(c, "HTTP/1.1 %d X\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{", code)
		})
		began := time.Now()
		err := gateway(t, GatewayConfig{URL: url, Timeout: time.Minute}).Send(context.Background(), someText)
		if OutcomeOf(err) != want {
			t.Errorf("%d: %v, want %v", code, err, want)
		}
		if took := time.Since(began); took > 20*time.Second {
			t.Errorf("%d: the sender was held up for %v", code, took)
		}
	}
}

func TestGatewayCanceled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	url, _ := rawServer(t, func(net.Conn) { cancel() })
	err := gateway(t, GatewayConfig{URL: url}).Send(ctx, someText)
	if OutcomeOf(err) != Unknown || !errors.Is(err, context.Canceled) {
		t.Errorf("Send = %v, want unknown, canceled", err)
	}
}

// rawServer reads one request a connection, counts it and does what it is told.
func rawServer(t *testing.T, behave func(net.Conn)) (url string, requests *atomic.Int32) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	requests = &atomic.Int32{}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { c.Close() })
			go func() {
				buf := make([]byte, 64<<10)
				if n, _ := c.Read(buf); n > 0 {
					requests.Add(1)
					behave(c)
				}
			}()
		}
	}()
	return "http://" + l.Addr().String(), requests
}

func TestNewGatewayRefuses(t *testing.T) {
	keys := []Secret{secret(t, vectorSecret)}
	for _, c := range []struct {
		name string
		cfg  GatewayConfig
		want string
	}{
		{"https", GatewayConfig{URL: "https://gateway.example/t", Secrets: keys}, ""},
		{"http on this machine", GatewayConfig{URL: "http://[::1]:8080", Secrets: keys}, ""},
		{"http that is meant", GatewayConfig{URL: "http://gateway:8080", Secrets: keys, Plain: true}, ""},
		{"http elsewhere", GatewayConfig{URL: "http://gateway.example/t", Secrets: keys}, "in the clear"},
		{"http to a name like ours", GatewayConfig{URL: "http://127.0.0.1.example/t", Secrets: keys}, "in the clear"},
		{"no address", GatewayConfig{Secrets: keys}, "url"},
		{"no scheme", GatewayConfig{URL: "gateway.example/t", Secrets: keys}, "url"},
		{"another scheme", GatewayConfig{URL: "ftp://gateway.example", Secrets: keys}, "url"},
		{"a password in the address", GatewayConfig{URL: "https://a:b@gateway.example", Secrets: keys}, "user"},
		{"no secret", GatewayConfig{URL: "https://gateway.example"}, "secrets"},
		{"an empty secret", GatewayConfig{URL: "https://gateway.example", Secrets: make([]Secret, 1)}, "secrets"},
		{"from a national number", GatewayConfig{URL: "https://gateway.example", Secrets: keys, From: "202 555 0143"}, "from"},
		{"time below nought", GatewayConfig{URL: "https://gateway.example", Secrets: keys, Timeout: -1}, "timeout"},
	} {
		_, err := NewGateway(c.cfg)
		if (c.want == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: NewGateway = %v, want %q", c.name, err, c.want)
		}
	}
}

func BenchmarkGatewaySend(b *testing.B) {
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusAccepted) }))
	defer server.Close()
	g := gateway(b, GatewayConfig{URL: server.URL})
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			if err := g.Send(context.Background(), someText); err != nil {
				b.Error(err)
			}
		}
	})
}
