package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/carrier"
)

const hookText = `{"kind":"text","from":"+12025550143","to":"+12025550100","body":"gave 150 then he threw up twice"}`

var hookNow = time.Unix(1614265330, 0)

func hookSecret(t testing.TB) carrier.Secret {
	t.Helper()
	k, err := carrier.ParseSecret("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw") // the published example's
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// hookInbox is a store that remembers ids, as the hook expects of Accept.
type hookInbox struct {
	mu    sync.Mutex
	items []carrier.Incoming
	notes []string
	fail  error
	panic bool
}

func (b *hookInbox) accept(ctx context.Context, in carrier.Incoming) (bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.panic {
		panic("the store is on fire")
	}
	if _, ok := ctx.Deadline(); !ok {
		return false, errors.New("no deadline")
	}
	if b.fail != nil {
		return false, b.fail
	}
	for _, was := range b.items {
		if was.ID == in.ID {
			return false, nil
		}
	}
	b.items = append(b.items, in)
	return true, nil
}

func (b *hookInbox) note(outcome string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.notes = append(b.notes, outcome)
}

func hookApp(t testing.TB, b *hookInbox) *fiber.App {
	t.Helper()
	app := fiber.New(fiber.Config{Immutable: true, DisableStartupMessage: true})
	MountHook(app, HookConfig{
		Path: "/hook/north", Secrets: []carrier.Secret{hookSecret(t)},
		Now: func() time.Time { return hookNow }, Accept: b.accept, Note: b.note,
	})
	return app
}

// hookPost is a well signed message; change spoils it.
func hookPost(t testing.TB, id, body string, at time.Time, change func(*http.Request)) *http.Request {
	t.Helper()
	r := httptest.NewRequest(http.MethodPost, "/hook/north", strings.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set(carrier.HeaderID, id)
	r.Header.Set(carrier.HeaderTimestamp, strconv.FormatInt(at.Unix(), 10))
	r.Header.Set(carrier.HeaderSignature, carrier.Sign([]carrier.Secret{hookSecret(t)}, id, at, []byte(body)))
	if change != nil {
		change(r)
	}
	return r
}

func hookDo(t testing.TB, app *fiber.App, r *http.Request) (*http.Response, map[string]string) {
	t.Helper()
	answer, err := app.Test(r, -1)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]string{}
	if err := json.Unmarshal(raw, &said); err != nil {
		t.Fatalf("the answer is not JSON: %q", raw)
	}
	return answer, said
}

func TestHookStoresOnce(t *testing.T) {
	b := &hookInbox{}
	app := hookApp(t, b)
	for i, want := range []string{"stored", "seen before", "seen before"} {
		// A retry is signed anew, with its own time.
		answer, said := hookDo(t, app, hookPost(t, "msg_1", hookText, hookNow.Add(time.Duration(i)*time.Second), nil))
		if answer.StatusCode != 200 || said["ok"] != want {
			t.Errorf("try %d: %d %v, want 200 %q", i+1, answer.StatusCode, said, want)
		}
	}
	if len(b.items) != 1 {
		t.Fatalf("%d items stored, want 1", len(b.items))
	}
	in := b.items[0]
	if in.ID != "msg_1" || in.Kind != carrier.KindText || in.From != "+12025550143" || in.Body != "gave 150 then he threw up twice" || !in.At.Equal(hookNow) {
		t.Errorf("stored %+v", in)
	}
	receipt := `{"id":"another","kind":"receipt","text":"maple-17.4.0","status":"undelivered","why":"switched off","at":"2021-02-25T15:00:00Z"}`
	if answer, _ := hookDo(t, app, hookPost(t, "msg_2", receipt, hookNow, nil)); answer.StatusCode != 200 {
		t.Fatalf("receipt: %d", answer.StatusCode)
	}
	in = b.items[1]
	if in.ID != "msg_2" || in.Receipt == nil || in.Receipt.Text != "maple-17.4.0" || in.At.Equal(hookNow) {
		t.Errorf("stored %+v: the id is the header's, the time the carrier's", in)
	}
	if got := fmt.Sprint(b.notes); got != "[stored seen_before seen_before stored]" {
		t.Errorf("noted %s", got)
	}
}

func TestHookRefuses(t *testing.T) {
	head := func(name, value string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set(name, value) }
	}
	for _, c := range []struct {
		name, body string
		at         time.Time
		change     func(*http.Request)
		status     int
		says       string
		note       string
	}{
		{"wrong signature", hookText, hookNow, head(carrier.HeaderSignature, "v1,"+strings.Repeat("A", 43)+"="), 401, "does not match", HookUntrusted},
		{"unreadable signature", hookText, hookNow, head(carrier.HeaderSignature, "sha256=abc"), 401, `must hold "v1,"`, HookUntrusted},
		{"no signature", hookText, hookNow, func(r *http.Request) { r.Header.Del(carrier.HeaderSignature) }, 401, `must hold "v1,"`, HookUntrusted},
		{"301 s old", hookText, hookNow.Add(-301 * time.Second), nil, 401, "more than 5 minutes", HookUntrusted},
		{"301 s early", hookText, hookNow.Add(301 * time.Second), nil, 401, "more than 5 minutes", HookUntrusted},
		{"replayed under a new id", hookText, hookNow, head(carrier.HeaderID, "msg_new"), 401, "does not match", HookUntrusted},
		{"body changed on its way", hookText, hookNow, func(r *http.Request) {
			r.Body = io.NopCloser(strings.NewReader(strings.Replace(hookText, "150", "250", 1)))
		}, 401, "does not match", HookUntrusted},
		{"no id", hookText, hookNow, func(r *http.Request) { r.Header.Del(carrier.HeaderID) }, 400, "every message needs one", HookUntrusted},
		{"no time", hookText, hookNow, func(r *http.Request) { r.Header.Del(carrier.HeaderTimestamp) }, 400, "Unix time", HookUntrusted},
		{"not JSON", "from=+12025550143&body=hi", hookNow, nil, 400, "not one JSON object", HookRefused},
		{"empty", "", hookNow, nil, 400, "not one JSON object", HookRefused},
		{"a field is wrong", `{"kind":"text","from":"2025550143","to":"+12025550100","body":"x"}`, hookNow, nil, 400, `"from"`, HookRefused},
		{"too large", `{"kind":"text","body":"` + strings.Repeat("a", 64<<10) + `"}`, hookNow, nil, 413, "at most 65536 bytes", HookRefused},
		{"GET", hookText, hookNow, func(r *http.Request) { r.Method = http.MethodGet }, 405, "Only POST", HookRefused},
		{"PUT", hookText, hookNow, func(r *http.Request) { r.Method = http.MethodPut }, 405, "Only POST", HookRefused},
		{"a form", hookText, hookNow, head("Content-Type", "application/x-www-form-urlencoded"), 415, "application/json", HookRefused},
		{"no type", hookText, hookNow, func(r *http.Request) { r.Header.Del("Content-Type") }, 415, "application/json", HookRefused},
		{"packed", hookText, hookNow, head("Content-Encoding", "gzip"), 415, "content encoding", HookRefused},
	} {
		b := &hookInbox{}
		answer, said := hookDo(t, hookApp(t, b), hookPost(t, "msg_1", c.body, c.at, c.change))
		if answer.StatusCode != c.status || !strings.Contains(said["error"], c.says) {
			t.Errorf("%s: %d %v, want %d %q", c.name, answer.StatusCode, said, c.status, c.says)
		}
		if s := said["error"]; !strings.HasSuffix(s, ".") || strings.Contains(s, "2025550143") || strings.Contains(s, "threw up") {
			t.Errorf("%s: %q is not a sentence, or quotes the text", c.name, s)
		}
		if len(b.items) != 0 {
			t.Errorf("%s: something was stored", c.name)
		}
		if got := fmt.Sprint(b.notes); got != "["+c.note+"]" {
			t.Errorf("%s: noted %s, want %s", c.name, got, c.note)
		}
		if c.status == 405 && answer.Header.Get("Allow") != "POST" {
			t.Errorf("%s: Allow is %q", c.name, answer.Header.Get("Allow"))
		}
	}
}

func TestHookTakesUpToItsLimit(t *testing.T) {
	b := &hookInbox{}
	frame := `{"kind":"text","from":"+12025550143","to":"+12025550100","body":""}`
	body := strings.Replace(frame, `"body":"`, `"body":"`+strings.Repeat("a", 64<<10-len(frame)), 1)
	if answer, said := hookDo(t, hookApp(t, b), hookPost(t, "m", body, hookNow, nil)); answer.StatusCode != 200 || len(b.items) != 1 {
		t.Errorf("a body of %d bytes: %d %v", len(body), answer.StatusCode, said)
	}
}

// What the hook keeps of one request is not written over by the next on the
// same connection, even where the app was not made Immutable.
func TestHookKeepsItsOwnCopies(t *testing.T) {
	b := &hookInbox{}
	app := fiber.New(fiber.Config{DisableStartupMessage: true})
	MountHook(app, HookConfig{Path: "/hook/north", Secrets: []carrier.Secret{hookSecret(t)}, Now: func() time.Time { return hookNow }, Accept: b.accept})
	url := serveHook(t, app)
	for i := range 50 {
		body := strings.Replace(hookText, "150", strconv.Itoa(100+i), 1)
		r := hookPost(t, "msg_"+strconv.Itoa(100+i), body, hookNow, nil)
		r2, err := http.NewRequest(r.Method, url+"/hook/north", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r2.Header = r.Header
		answer, err := http.DefaultClient.Do(r2)
		if err != nil {
			t.Fatal(err)
		}
		io.Copy(io.Discard, answer.Body)
		answer.Body.Close()
	}
	if len(b.items) != 50 {
		t.Fatalf("%d items stored, want 50", len(b.items))
	}
	for i, in := range b.items {
		if in.ID != "msg_"+strconv.Itoa(100+i) || !strings.Contains(in.Body, "gave "+strconv.Itoa(100+i)) {
			t.Errorf("item %d became %+v", i, in)
		}
	}
}

func serveHook(t testing.TB, app *fiber.App) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = app.Listener(l) }() // ends with the test's Shutdown
	t.Cleanup(func() { _ = app.ShutdownWithTimeout(time.Second) })
	return "http://" + l.Addr().String()
}

func TestHookStoreDown(t *testing.T) {
	b := &hookInbox{fail: errors.New("dial redis 10.0.0.7: refused")}
	app := hookApp(t, b)
	answer, said := hookDo(t, app, hookPost(t, "msg_1", hookText, hookNow, nil))
	if answer.StatusCode != 503 || answer.Header.Get("Retry-After") != "5" || strings.Contains(said["error"], "redis") {
		t.Errorf("%d, Retry-After %q, %v; want 503, 5, and nothing of our inside", answer.StatusCode, answer.Header.Get("Retry-After"), said)
	}
	b.fail = nil
	if answer, said := hookDo(t, app, hookPost(t, "msg_1", hookText, hookNow, nil)); answer.StatusCode != 200 || said["ok"] != "stored" {
		t.Errorf("the next try: %d %v, want 200 stored", answer.StatusCode, said)
	}
}

func TestHookSurvivesAPanic(t *testing.T) {
	b := &hookInbox{panic: true}
	app := hookApp(t, b)
	answer, said := hookDo(t, app, hookPost(t, "msg_1", hookText, hookNow, nil))
	if answer.StatusCode != 500 || strings.Contains(said["error"], "fire") {
		t.Errorf("%d %v, want 500 and nothing of our inside", answer.StatusCode, said)
	}
}

func TestHookWithoutSecretsBelievesNobody(t *testing.T) {
	app := fiber.New()
	MountHook(app, HookConfig{Path: "/hook/north", Now: func() time.Time { return hookNow },
		Accept: func(context.Context, carrier.Incoming) (bool, error) {
			t.Error("something was accepted")
			return true, nil
		}})
	for _, change := range []func(*http.Request){nil, func(r *http.Request) {
		r.Header.Set(carrier.HeaderSignature, carrier.Sign([]carrier.Secret{{}}, "m", hookNow, []byte(hookText)))
	}} {
		if answer, _ := hookDo(t, app, hookPost(t, "m", hookText, hookNow, change)); answer.StatusCode != 401 {
			t.Errorf("%d, want 401", answer.StatusCode)
		}
	}
}

func FuzzHook(f *testing.F) {
	f.Add("msg_1", "1614265330", "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=", []byte(hookText), true)
	f.Add("", "", "", []byte("{"), false)
	f.Fuzz(func(t *testing.T, id, seconds, signature string, body []byte, sign bool) {
		b := &hookInbox{}
		cfg := HookConfig{MaxBody: 1 << 10, Secrets: []carrier.Secret{hookSecret(t)}, Now: func() time.Time { return hookNow }, Accept: b.accept, Timeout: time.Second}
		cfg.Reader = carrier.Signed(cfg.Secrets)
		app := fiber.New()
		c := app.AcquireCtx(newFuzzRequest(id, seconds, signature, body))
		defer app.ReleaseCtx(c)
		if sign {
			c.Request().Header.Set(carrier.HeaderTimestamp, strconv.FormatInt(hookNow.Unix(), 10))
			c.Request().Header.Set(carrier.HeaderSignature, carrier.Sign(cfg.Secrets, c.Get(carrier.HeaderID), hookNow, body))
		}
		a := cfg.take(c)
		if (a.status == 200) != (len(b.items) == 1) {
			t.Fatalf("answered %d with %d items stored", a.status, len(b.items))
		}
		if a.status == 200 && !sign && !bytes.Equal(body, []byte(`{"test": 2432232314}`)) {
			t.Fatalf("an unsigned body was stored: %q", body)
		}
	})
}
