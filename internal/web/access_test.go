package web

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/carrier"
)

func TestNewRefusesWhatIsNotSafe(t *testing.T) {
	good := testConfig(newDesk())
	for name, change := range map[string]func(*Config){
		"no desk":       func(c *Config) { c.Desk = nil },
		"no phrases":    func(c *Config) { c.Phrases = nil },
		"no token":      func(c *Config) { c.Token = "" },
		"short token":   func(c *Config) { c.Token = "short" },
		"15 characters": func(c *Config) { c.Token = "123456789012345" },
	} {
		cfg := good
		change(&cfg)
		if _, err := New(cfg); err == nil {
			t.Errorf("%s: accepted", name)
		} else if strings.Contains(err.Error(), "1234567890") {
			t.Errorf("%s: the error %q shows the token", name, err)
		}
	}
}

// everyRoute is every address that shows or changes anything.
var everyRoute = []struct{ method, path string }{
	{"GET", "/"}, {"GET", "/queue"}, {"GET", "/queue/list"}, {"GET", "/case/maple-17/maple-17.11.1"},
	{"GET", "/case/maple-17/maple-17.11.1/live"}, {"POST", "/case/maple-17/maple-17.11.1/claim"},
	{"POST", "/case/maple-17/maple-17.11.1/close"}, {"POST", "/segments"}, {"GET", "/households"}, {"GET", "/households/list"},
	{"GET", "/household/maple-17"}, {"GET", "/household/maple-17/live"}, {"POST", "/household/maple-17/pause"}, {"GET", "/live"},
	{"POST", "/signout"}, {"GET", "/nothing"},
}

func TestNothingIsShownWithoutSignIn(t *testing.T) {
	d := newDesk()
	s := newSite(t, testConfig(d))
	for _, r := range everyRoute {
		c := &client{t: t, site: s}
		status, page, h := c.do(r.method, r.path, nil)
		toSignIn := status == http.StatusSeeOther && strings.HasPrefix(h.Get("Location"), "/signin")
		if !toSignIn && status != http.StatusUnauthorized {
			t.Errorf("%s %s = %d, want the sign-in page or 401", r.method, r.path, status)
		}
		if strings.Contains(page, "maple-17") || strings.Contains(page, "Robin") {
			t.Errorf("%s %s shows a household", r.method, r.path)
		}
	}
	if len(d.acts()) != 0 {
		t.Errorf("acts = %v", d.acts())
	}
}

// TestRoutesAreAllTried fails when a route is added that the table above does not know.
func TestRoutesAreAllTried(t *testing.T) {
	s := newSite(t, testConfig(newDesk()))
	for _, r := range s.GetRoutes(true) {
		if r.Method != "GET" && r.Method != "POST" || r.Path == "/signin" || r.Path == "/static/:name" {
			continue
		}
		tried := false
		for _, e := range everyRoute {
			tried = tried || e.method == r.Method && fiber.RoutePatternMatch(e.path, r.Path)
		}
		if !tried {
			t.Errorf("%s %s is not in everyRoute", r.Method, r.Path)
		}
	}
}

func TestSignIn(t *testing.T) {
	s := newSite(t, testConfig(newDesk()))
	for _, tt := range []struct {
		name, token, who, to string
		status               int
		location             string
	}{
		{"right", testToken, "nora", "/households", 303, "/households"},
		{"name is tidied", testToken, "  nora   b. ", "", 303, "/queue"},
		{"wrong token", "a token of somebody else, long", "nora", "", 401, ""},
		{"no name", testToken, "  ", "", 422, ""},
		{"long name", testToken, strings.Repeat("n", 41), "", 422, ""},
		{"control characters", testToken, "no\x07ra", "", 422, ""},
		{"elsewhere", testToken, "nora", "//evil.example/", 303, "/queue"},
		{"elsewhere, backslash", testToken, "nora", `/\evil.example`, 303, "/queue"},
		{"elsewhere, absolute", testToken, "nora", "https://evil.example/", 303, "/queue"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s.wrong.forget("0.0.0.0")
			c := &client{t: t, site: s}
			status, p, h := c.post("/signin", "token", tt.token, "name", tt.who, "to", tt.to)
			if status != tt.status || h.Get("Location") != tt.location {
				t.Errorf("= %d to %q, want %d to %q", status, h.Get("Location"), tt.status, tt.location)
			}
			if (c.cookie != "") != (tt.status == 303) {
				t.Errorf("cookie %q", c.cookie)
			}
			if strings.Contains(text(p.root), tt.token) {
				t.Error("the page shows the token")
			}
		})
	}
}

func TestSessionCookieIsStrict(t *testing.T) {
	s := newSite(t, testConfig(newDesk()))
	c := &client{t: t, site: s}
	_, _, h := c.post("/signin", "token", testToken, "name", "nora")
	cookie := h.Get("Set-Cookie")
	for _, want := range []string{"HttpOnly", "SameSite=Strict", "path=/", "max-age=46800"} {
		if !strings.Contains(cookie, want) {
			t.Errorf("cookie %q lacks %s", cookie, want)
		}
	}
}

func TestCookiesThatAreNotOurs(t *testing.T) {
	now := testNow
	cfg := testConfig(newDesk())
	cfg.Clock = func() time.Time { return now }
	s := newSite(t, cfg)
	c := signedIn(t, s, "nora")
	body, mac, _ := strings.Cut(c.cookie, ".")
	forged, err := json.Marshal(seat{Name: "admin", Since: testNow.UnixMilli(), Nonce: "x"})
	if err != nil {
		t.Fatal(err)
	}
	cfg2 := testConfig(newDesk())
	cfg2.Token = "another token of the tests, also long"
	other := signedIn(t, newSite(t, cfg2), "nora").cookie
	for name, cookie := range map[string]string{
		"forged body": base64.RawURLEncoding.EncodeToString(forged) + "." + mac, "no signature": body, "empty signature": body + ".",
		"cut signature": c.cookie[:len(c.cookie)-1], "of another token": other, "rubbish": "..", "empty": "",
	} {
		bad := &client{t: t, site: s, cookie: cookie}
		if status, _, _ := bad.do("GET", "/queue", nil); status != http.StatusSeeOther {
			t.Errorf("%s = %d, want the sign-in page", name, status)
		}
	}
	now = testNow.Add(shift - time.Second)
	if status, _, _ := c.do("GET", "/queue", nil); status != http.StatusOK {
		t.Errorf("at the shift's last second = %d", status)
	}
	now = testNow.Add(shift)
	if status, _, _ := c.do("GET", "/queue", nil); status != http.StatusSeeOther {
		t.Errorf("after the shift = %d, want the sign-in page", status)
	}
	// A form sent after the shift is not carried out, and says that the words are still there.
	status, page, _ := c.do("POST", "/case/maple-17/maple-17.11.1/write", map[string][]string{"form": {c.form}, "body": {"x"}})
	if status != http.StatusUnauthorized || !strings.Contains(page, "your words stay in this tab") {
		t.Errorf("a late form = %d", status)
	}
}

func TestWrongTriesSlowDown(t *testing.T) {
	now := testNow
	cfg := testConfig(newDesk())
	cfg.Clock = func() time.Time { return now }
	s := newSite(t, cfg)
	c := &client{t: t, site: s}
	try := func(token string) (int, string) {
		status, _, h := c.post("/signin", "token", token, "name", "nora")
		return status, h.Get("Retry-After")
	}
	for i, wait := range []time.Duration{1, 2, 4, 8, 16, 32, 60, 60} {
		if status, _ := try("wrong"); status != http.StatusUnauthorized {
			t.Fatalf("wrong try %d = %d, want 401", i+1, status)
		}
		// Until the wait is over not even the right token is looked at.
		now = now.Add(wait*time.Second - time.Millisecond)
		if status, after := try(testToken); status != http.StatusTooManyRequests || after != "1" {
			t.Fatalf("after wrong try %d, just before %d s = %d, Retry-After %q", i+1, wait, status, after)
		}
		now = now.Add(time.Millisecond)
	}
	c.header = http.Header{"Authorization": {"Bearer wrong"}}
	if status, _, _ := c.do("GET", "/queue", nil); status != http.StatusUnauthorized {
		t.Errorf("a wrong bearer token = %d", status)
	}
	if status, _, _ := c.do("GET", "/queue", nil); status != http.StatusTooManyRequests {
		t.Errorf("the next at once = %d, want 429", status)
	}
	c.header = nil
	now = now.Add(maxWait)
	if status, _ := try(testToken); status != http.StatusSeeOther {
		t.Errorf("the right token after the wait = %d", status)
	}
	if status, _ := try("wrong"); status != http.StatusUnauthorized {
		t.Error("a good sign-in did not forget the wrong ones")
	}
}

func TestWrongTriesAreBounded(t *testing.T) {
	w := &wrongTries{}
	for i := range maxAddresses + 100 {
		w.note(strings.Repeat("x", i%7)+time.Duration(i).String(), testNow.Add(time.Duration(i)*time.Second))
	}
	if len(w.by) > maxAddresses {
		t.Errorf("%d addresses remembered, at most %d", len(w.by), maxAddresses)
	}
}

func TestBearer(t *testing.T) {
	d := newDesk()
	c := &client{t: t, site: newSite(t, testConfig(d)), header: http.Header{"Authorization": {"Bearer " + testToken}, "Hearthline-Staff": {"nora"}}}
	if status, _, _ := c.do("GET", "/queue", nil); status != http.StatusOK {
		t.Fatalf("GET = %d", status)
	}
	// No cookie, so no form token is needed.
	if status, _, _ := c.do("POST", "/case/maple-17/maple-17.11.1/claim", nil); status != http.StatusSeeOther {
		t.Errorf("claim = %d", status)
	}
	if len(d.acts()) != 1 {
		t.Errorf("acts = %v", d.acts())
	}
}

func TestFormsOfOthersAreRefused(t *testing.T) {
	d := newDesk()
	s := newSite(t, testConfig(d))
	omar := signedIn(t, s, "omar")
	for _, tt := range []struct {
		name   string
		header http.Header
		form   string
		status int
	}{
		{"own form", http.Header{"Origin": {"http://pages.test"}, "Sec-Fetch-Site": {"same-origin"}}, "own", 303},
		{"own form, older browser", http.Header{"Origin": {"http://pages.test"}}, "own", 303},
		{"foreign origin", http.Header{"Origin": {"http://evil.example"}}, "own", 403},
		{"same name, other port", http.Header{"Origin": {"http://pages.test:81"}}, "own", 403},
		{"origin of a sandbox", http.Header{"Origin": {"null"}}, "own", 403},
		{"cross-site", http.Header{"Sec-Fetch-Site": {"cross-site"}}, "own", 403},
		{"sister site", http.Header{"Sec-Fetch-Site": {"same-site"}}, "own", 403},
		{"no form token", nil, "", 403},
		{"rubbish token", nil, "AAAA", 403},
		{"another nurse's token", nil, "omar", 403},
	} {
		t.Run(tt.name, func(t *testing.T) {
			before := len(d.acts())
			c := signedIn(t, s, "nora")
			form := map[string]string{"own": c.form, "omar": omar.form}[tt.form]
			if form == "" {
				form = tt.form
			}
			c.header = tt.header
			status, page, _ := c.do("POST", "/case/maple-17/maple-17.11.1/claim", map[string][]string{"form": {form}})
			if status != tt.status {
				t.Errorf("= %d, want %d\n%s", status, tt.status, page)
			}
			if did := len(d.acts()) > before; did != (tt.status == 303) {
				t.Errorf("carried out: %v", did)
			}
		})
	}
	c := &client{t: t, site: s, header: http.Header{"Origin": {"http://evil.example"}}}
	if status, _, _ := c.post("/signin", "token", testToken, "name", "nora"); status != http.StatusForbidden || c.cookie != "" {
		t.Errorf("a foreign sign-in form = %d", status)
	}
}

func TestHeaders(t *testing.T) {
	c := signedIn(t, newSite(t, testConfig(newDesk())), "nora")
	_, _, h := c.do("GET", "/queue", nil)
	for name, want := range map[string]string{
		"Content-Security-Policy": contentPolicy, "X-Frame-Options": "DENY", "X-Content-Type-Options": "nosniff",
		"Referrer-Policy": "same-origin", "Cache-Control": "no-store", "Content-Type": "text/html; charset=utf-8",
	} {
		if got := h.Get(name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	if strings.Contains(contentPolicy, "unsafe") {
		t.Error("the content policy lets inline scripts or styles run")
	}
	if _, _, h := c.do("GET", c.site.href("live.js"), nil); !strings.Contains(h.Get("Cache-Control"), "immutable") || !strings.Contains(h.Get("Content-Type"), "javascript") {
		t.Errorf("live.js: %v", h)
	}
	if _, _, h := c.do("GET", "/static/live.js?v=0", nil); strings.Contains(h.Get("Cache-Control"), "immutable") {
		t.Error("a file under the wrong hash may be kept for ever")
	}
}

func TestDemoNeedsNoToken(t *testing.T) {
	d := newDesk()
	cfg, phones, clock := demoConfig(d)
	c := &client{t: t, site: newSite(t, cfg)}
	p := c.get("/")
	if !strings.Contains(text(p.root), trouble) {
		t.Error("the start page does not say what to try first")
	}
	if status, _, _ := c.post("/name", "name", "nora"); status != http.StatusSeeOther {
		t.Fatalf("name = %d", status)
	}
	if got := c.get("/").one(".seat strong"); got != "nora" {
		t.Errorf("works here: %q", got)
	}
	if status, _, _ := c.post("/phones/1/text", "body", "hola"); status != http.StatusSeeOther {
		t.Errorf("typing = %d", status)
	}
	if status, _, _ := c.post("/phones/1/text", "try", "all of it"); status != http.StatusSeeOther {
		t.Errorf("trying = %d", status)
	}
	texts := phones.texts["+12025550143"]
	if a, b := texts[len(texts)-2].Body, texts[len(texts)-1].Body; a != "hola" || b != "all of it" {
		t.Errorf("typed %q, %q", a, b)
	}
	for path, body := range map[string]string{"/phones/1/text": " ", "/phones/2/text": strings.Repeat("x", maxTyped+1)} {
		if status, _, _ := c.post(path, "body", body); status != http.StatusUnprocessableEntity {
			t.Errorf("%s with %d characters = %d, want 422", path, len(body), status)
		}
	}
	for _, path := range []string{"/phones/3", "/phones/99"} {
		if status, _, _ := c.do("GET", path, nil); path == "/phones/99" && status == 500 {
			t.Errorf("%s = %d", path, status)
		}
	}
	if strings.Contains(c.get("/phones/1").attr(".pick a", "href"), "555") {
		t.Error("a number stands in an address")
	}
	if status, _, h := c.post("/clock", "speed", "600", "to", "/phones/1"); status != 303 || h.Get("Location") != "/phones/1" || clock.Speed() != 600 {
		t.Errorf("speed = %d, now %v", status, clock.Speed())
	}
	if status, _, _ := c.post("/clock", "speed", "7"); status != 422 || clock.Speed() != 600 {
		t.Errorf("an unknown speed = %d, now %v", status, clock.Speed())
	}
	if status, _, _ := c.post("/clock", "speed", "NaN"); status != 422 {
		t.Errorf("no number as speed = %d", status)
	}
	if c.post("/clock", "skip", "hour"); !clock.Now().Equal(testNow.Add(time.Hour)) {
		t.Errorf("after the skip %v", clock.Now())
	}
}

// FuzzSeat: no cookie that we did not sign is ever a seat, whatever its form.
func FuzzSeat(f *testing.F) {
	s := newSite(f, testConfig(newDesk()))
	good, err := s.seal(seat{Name: "nora", Since: testNow.UnixMilli(), Nonce: "n"})
	if err != nil {
		f.Fatal(err)
	}
	f.Add("")
	f.Add(".")
	f.Add(good)
	f.Add(good + "x")
	f.Fuzz(func(t *testing.T, cookie string) {
		if _, ok := s.unseal(cookie); ok != (cookie == good) {
			t.Errorf("unseal(%q) = %v", cookie, ok)
		}
	})
}

func TestTooLargeAFormIsRefused(t *testing.T) {
	d := newDesk()
	base := serve(t, newSite(t, testConfig(d)))
	res, err := http.Post(base+"/signin", "application/x-www-form-urlencoded", strings.NewReader("token="+strings.Repeat("x", bodyLimit)))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusRequestEntityTooLarge {
		t.Errorf("= %d, want 413", res.StatusCode)
	}
}

// TestMountedRoutesCarryTheirOwnProof: a gateway has no sign-in and no form
// token; the hook answers it, before anything that is meant for people.
func TestMountedRoutesCarryTheirOwnProof(t *testing.T) {
	stored := 0
	cfg := testConfig(newDesk())
	cfg.Mount = func(app *fiber.App) {
		MountHook(app, HookConfig{Path: "/hook/north", Secrets: []carrier.Secret{hookSecret(t)}, Now: func() time.Time { return hookNow },
			Accept: func(context.Context, carrier.Incoming) (bool, error) { stored++; return true, nil }})
	}
	s := newSite(t, cfg)
	res, err := s.Test(hookPost(t, "m-1", hookText, hookNow, func(r *http.Request) { r.Header.Set("Origin", "http://gateway.test") }), -1)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK || stored != 1 {
		t.Errorf("a signed text = %d, stored %d times", res.StatusCode, stored)
	}
}
