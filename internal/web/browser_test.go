package web

import (
	"context"
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"hearthline/internal/household"
	"hearthline/internal/testneed"
	"hearthline/internal/web/browsertest"
)

// everyPage is every page that a person can see, by its name in files.
var everyPage = []struct{ name, path string }{
	{"start", "/"}, {"queue", "/queue"}, {"case", "/case/maple-17/maple-17.11.1"}, {"stranger", "/case/number-9f2c/number-9f2c.1.1"},
	{"households", "/households"}, {"household", "/household/maple-17"}, {"phones", "/phones"}, {"phone", "/phones/1"},
	{"gone", "/case/maple-17/nothing"},
}

// views are the sizes and schemes in which pages are looked at.
var views = map[string]struct {
	width, height int64
	dark          bool
}{
	"phone-light": {390, 844, false}, "phone-dark": {390, 844, true},
	"desk-light": {1280, 900, false}, "desk-dark": {1280, 900, true},
}

// serve lets a site answer on a real port and returns its address.
func serve(t testing.TB, s *Site) string {
	t.Helper()
	ln, err := (&net.ListenConfig{}).Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatalf("listen: %v", err)
	}
	return serveOn(t, s, ln)
}

func serveOn(t testing.TB, s *Site, ln net.Listener) string {
	go func() {
		if err := s.Listener(ln); err != nil {
			t.Errorf("serve: %v", err)
		}
	}()
	return "http://" + ln.Addr().String()
}

// visitor is somebody at a real browser.
type visitor struct {
	t   *testing.T
	ctx context.Context
}

func (p visitor) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, steps...); err != nil {
		p.t.Fatalf("%s: %v", what, err)
	}
}

func (p visitor) eval(expression string) string {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](`String(`+expression+`)`))
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// see waits until something is true on the page.
func (p visitor) see(what, expression string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, testPatience)
	defer cancel()
	// A page that is just being left has no document to ask: ask the next.
	for {
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`Boolean(`+expression+`)`))
		if ok {
			return
		}
		if ctx.Err() != nil {
			p.t.Fatalf("not seen within %v: %s (%v)\n%s", testPatience, what, err, p.eval(`document.title + "\n" + document.body.innerText`))
		}
	}
}

func (p visitor) goTo(url string) {
	p.t.Helper()
	p.do("go to "+url, chromedp.Navigate(url))
}

// arrive signs a nurse in at a real browser.
func arrive(t *testing.T, browser context.Context, base, name string) visitor {
	t.Helper()
	p := visitor{t, browsertest.Another(t, browser)}
	p.goTo(base + "/queue")
	p.do("sign in", chromedp.SendKeys("#name", name), chromedp.SendKeys("#token", testToken), chromedp.Click("form button.main"))
	p.see("the queue", `document.querySelector("#queue-count")`)
	return p
}

const isLive = `document.documentElement.classList.contains("live")`

// TestBrowser walks through the pages in a real browser: one for all, with a
// profile of its own for each person.
func TestBrowser(t *testing.T) {
	browser := browsertest.Start(t)
	for name, walk := range map[string]func(*testing.T, context.Context){
		"night":               browserNight,
		"two nurses":          browserTwoNurses,
		"says when it is old": browserSaysWhenItIsOld,
		"scripts off":         browserScriptsOff,
		"keyboard only":       browserKeyboardOnly,
		"pretend phone":       browserPretendPhone,
		"axe":                 browserAxe,
		"screenshots":         browserScreenshots,
	} {
		t.Run(name, func(t *testing.T) { walk(t, browser) })
	}
}

// nurseSite is a site on a real port with real time.
func nurseSite(t *testing.T, d *fakeDesk) string {
	cfg := testConfig(d)
	cfg.Clock, cfg.Poll, cfg.Heartbeat = time.Now, 0, 0
	return serve(t, newSite(t, cfg))
}

// browserNight: a case appears by itself, is taken, answered and closed.
func browserNight(t *testing.T, browser context.Context) {
	d := newDesk()
	base := nurseSite(t, d)
	nora := arrive(t, browser, base, "nora")
	nora.see("the line stands", isLive)
	nora.eval(`document.getElementById("claim-case-number-9f2c.1.1").focus()`)

	began := time.Now()
	var of string
	d.change(func(d *fakeDesk) {
		of = string(d.openCase(cedar, 5, 3*time.Minute, "his belly is hard as a board", "hard as a board"))
	})
	nora.see("the new case", `document.getElementById("case-`+of+`")`)
	took := time.Since(began)
	t.Logf("new case on the open page after %v", took.Round(time.Millisecond))
	if took > 2*time.Second {
		t.Errorf("the new case took %v, at most 2 s", took)
	}
	nora.see("the count in the title", `document.title.startsWith("(3) ")`)
	nora.see("the announcement", `document.getElementById("announce").textContent.includes("New case: Vomiting or nausea, cedar-4")`)
	if got := nora.eval(`document.activeElement.id`); got != "claim-case-number-9f2c.1.1" {
		t.Errorf("focus went to %q when the list was renewed", got)
	}

	nora.do("open the case", chromedp.Click(`[id="to-case-`+of+`"]`))
	nora.see("the case", `document.getElementById("act-claim")`)
	nora.do("take it", chromedp.Click("#act-claim"))
	nora.see("it is hers", `document.querySelector("#standing .holder").textContent === "You hold it"`)
	nora.do("write", chromedp.Click("#write summary"), chromedp.SetValue("#body", "Stop the feed. I call now."))
	nora.see("the count of segments", `document.getElementById("segments").textContent.includes("1 of 2 segments, 26 characters")`)

	// While she writes, another text arrives: the page renews itself around her words.
	d.change(func(d *fakeDesk) { d.openCase(cedar, 6, 9*time.Minute, "and he is hot", "hot") })
	nora.see("the other text in the thread", `document.getElementById("record").textContent.includes("and he is hot")`)
	if got := nora.eval(`document.getElementById("body").value`); got != "Stop the feed. I call now." {
		t.Errorf("her words became %q", got)
	}
	nora.do("send", chromedp.Click("#write button"))
	nora.see("her text in the thread", `document.querySelector("#record .ours").textContent.includes("Stop the feed. I call now.")`)
	nora.do("close", chromedp.Click("#close summary"), chromedp.SetValue("#disposition", "disposition.emergency"),
		chromedp.SendKeys("#note", "went to the hospital"), chromedp.Click("#close button"))
	nora.see("it is closed", `document.querySelector(".case-head .left").textContent.includes("Closed: Sent for emergency care")`)
	acts := d.acts()
	if len(acts) != 3 {
		t.Fatalf("acts = %v", acts)
	}
	if w, ok := acts[1].(household.Write); !ok || w.Body != "Stop the feed. I call now." || w.By != "staff:nora" {
		t.Errorf("wrote %+v", acts[1])
	}
	if c, ok := acts[2].(household.Close); !ok || c.Disposition != "disposition.emergency" || c.Note != "went to the hospital" {
		t.Errorf("closed %+v", acts[2])
	}
}

// browserTwoNurses: both take one case at one time; one has it, the other sees who.
func browserTwoNurses(t *testing.T, browser context.Context) {
	d := newDesk()
	base := nurseSite(t, d)
	nora, omar := arrive(t, browser, base, "nora"), arrive(t, browser, base, "omar")
	for _, p := range []visitor{nora, omar} {
		p.goTo(base + "/case/maple-17/maple-17.11.1")
		p.see("the line stands", isLive)
	}
	nora.do("take", chromedp.Click("#act-claim"))
	nora.see("it is hers", `document.querySelector("#standing .holder").textContent === "You hold it"`)
	omar.see("who holds it, by itself", `document.querySelector("#standing .holder").textContent === "nora holds it"`)
	if got := omar.eval(`document.getElementById("act-claim")`); got != "null" {
		t.Error("omar can still take a case that is held")
	}
}

// browserSaysWhenItIsOld stops the page's line and lets a minute pass on its clock.
func browserSaysWhenItIsOld(t *testing.T, browser context.Context) {
	cfg := testConfig(newDesk())
	cfg.Clock = time.Now
	base := serve(t, newSite(t, cfg)) // its heartbeat is an hour
	p := arrive(t, browser, base, "nora")
	p.see("live words", `document.getElementById("own-line").textContent.startsWith("Live; last heard of the service")`)
	p.eval(`(window.before = Date.now, Date.now = () => before() + 44000)`)
	p.see("44 s", `document.getElementById("own-line").textContent.includes("44 s")`)
	p.eval(`(Date.now = () => before() + 62000)`)
	p.see("words that it is old", `document.getElementById("own-line").textContent === "`+say("flow.lost")+`"`)
	p.see("a broken line", `!(`+isLive+`)`)
}

// browserScriptsOff: everything works by reloading, and the page says so.
func browserScriptsOff(t *testing.T, browser context.Context) {
	d := newDesk()
	base := nurseSite(t, d)
	p := arrive(t, browser, base, "nora")
	if _, err := chromedp.Call(p.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
		t.Fatal(err)
	}
	p.goTo(base + "/queue")
	if got := p.eval(`document.getElementById("own-line").textContent`); !strings.Contains(got, "Not live, made at ") {
		t.Errorf("without scripts the page says %q", got)
	}
	p.do("take", chromedp.Click(`[id="claim-case-maple-17.11.1"]`))
	p.see("it is hers", `document.querySelector('[id="case-maple-17.11.1"] .holder').textContent === "You hold it"`)
	p.do("open", chromedp.Click(`[id="to-case-maple-17.11.1"]`))
	p.see("the case", `document.querySelector("#write")`)
	p.do("write", chromedp.Click("#write summary"), chromedp.SetValue("#body", "I call now."), chromedp.Click("#write button"))
	p.see("her text", `document.querySelector("#record .ours") && document.querySelector("#record .ours").textContent.includes("I call now.")`)
	p.do("close", chromedp.Click("#close summary"), chromedp.SetValue("#disposition", "disposition.advised"), chromedp.Click("#close button"))
	p.see("closed", `document.querySelector(".case-head .left").textContent.includes("Closed")`)
	if len(d.acts()) != 3 {
		t.Errorf("acts = %v", d.acts())
	}
}

// browserKeyboardOnly goes from the queue to a closed case without a pointer.
func browserKeyboardOnly(t *testing.T, browser context.Context) {
	d := newDesk()
	base := nurseSite(t, d)
	p := arrive(t, browser, base, "nora")
	p.goTo(base + "/queue")
	key := func(keys string) { p.t.Helper(); p.do("press", chromedp.KeyEvent(keys)) }
	active := func() string { return p.eval(`document.activeElement.id || document.activeElement.className`) }
	tabTo := func(id string) {
		t.Helper()
		for range 60 {
			if active() == id {
				// What has the focus must be seen to have it.
				if p.eval(`getComputedStyle(document.activeElement).outlineStyle`) == "none" {
					t.Errorf("%s has the focus and does not show it", id)
				}
				return
			}
			key(kb.Tab)
		}
		t.Fatalf("60 tabs do not reach %q", id)
	}
	key(kb.Tab)
	if got := active(); got != "skip" {
		t.Errorf("the first tab reaches %q, want the skip link", got)
	}
	key(kb.Enter)
	if got := p.eval(`location.hash`); got != "#content" {
		t.Errorf("the skip link goes to %q", got)
	}
	tabTo("to-case-maple-17.11.1")
	key(kb.Enter)
	p.see("the case", `document.getElementById("act-claim")`)
	tabTo("act-claim")
	key(kb.Enter)
	p.see("it is hers", `document.querySelector("#standing .holder") && document.querySelector("#standing .holder").textContent === "You hold it"`)
	for !strings.HasPrefix(p.eval(`document.activeElement.textContent`), "Close the case") {
		key(kb.Tab)
	}
	key(kb.Enter)
	tabTo("disposition")
	key("A") // types ahead to "Advised; stays at home"
	tabTo("note")
	key("rang Ana")
	key(kb.Tab)
	key(kb.Enter)
	p.see("closed", `document.querySelector(".case-head .left") && document.querySelector(".case-head .left").textContent.includes("Closed: Advised")`)
	acts := d.acts()
	if c, ok := acts[len(acts)-1].(household.Close); !ok || c.Note != "rang Ana" {
		t.Errorf("acts = %+v", acts)
	}
}

// browserPretendPhone: what a caregiver types and what arrives is seen live.
func browserPretendPhone(t *testing.T, browser context.Context) {
	d := newDesk()
	cfg, phones, _ := demoConfig(d)
	cfg.Heartbeat = 0
	phones.typed = func(number, _ string) {
		phones.mu.Lock()
		defer phones.mu.Unlock()
		phones.texts[number] = append(phones.texts[number], PhoneText{At: testNow, Body: "We have your text."})
	}
	base := serve(t, newSite(t, cfg))
	p := visitor{t, browsertest.Another(t, browser)}
	p.goTo(base + "/phones/1")
	p.do("type", chromedp.SetValue("#body", "all of it"), chromedp.Click("form .main"))
	p.see("both texts", `[...document.querySelectorAll(".texts .text")].slice(0, 2).map(e => e.textContent).join("|") === "We have your text.|all of it"`)
	p.see("the line stands", isLive)
	phones.mu.Lock()
	phones.texts["+12025550143"] = append(phones.texts["+12025550143"], PhoneText{At: testNow, Body: "A reminder."})
	phones.mu.Unlock()
	p.see("what arrives later", `document.querySelector(".texts .text").textContent === "A reminder."`)
}

// browserAxe: axe-core (Deque, MPL-2.0) finds nothing wrong on any page, at
// phone and desktop width, light and dark; and it does find what is planted.
func browserAxe(t *testing.T, browser context.Context) {
	testneed.Slow(t)
	src, err := os.ReadFile(filepath.Join(testneed.Node(t, "axe-core"), "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	cfg, _, _ := demoConfig(newDesk())
	base := serve(t, newSite(t, cfg))
	signIn := serve(t, newSite(t, testConfig(newDesk()))) + "/signin"
	p := visitor{t, browsertest.Another(t, browser)}
	axe := func() []string {
		t.Helper()
		if _, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](string(src)+";true")); err != nil {
			t.Fatalf("axe: %v", err)
		}
		out, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](`axe.run({resultTypes: ["violations"]}).then(r =>
			JSON.stringify(r.violations.map(v => v.id + ": " + v.help + ": " + v.nodes.map(n => n.html).join(" "))))`, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatalf("axe: %v", err)
		}
		var found []string
		if err := json.Unmarshal([]byte(out), &found); err != nil {
			t.Fatalf("axe: %v", err)
		}
		return found
	}
	// What a page's own policy forbids, or a script of ours trips over, is kept from its first line on.
	if _, err := chromedp.Call(p.ctx, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: `
		window.faults = [];
		document.addEventListener("securitypolicyviolation", e => faults.push(e.violatedDirective + " " + e.blockedURI));
		window.addEventListener("error", e => faults.push(e.message));`}); err != nil {
		t.Fatal(err)
	}
	urls := map[string]string{"signin": signIn}
	for _, page := range everyPage {
		urls[page.name] = base + page.path
	}
	for name, url := range urls {
		p.goTo(url)
		if name != "signin" { // which is not live
			p.see("the line stands on "+name, isLive)
		}
		if got := p.eval(`faults.join("; ")`); got != "" {
			t.Errorf("%s: %s", name, got)
		}
		p.eval(`document.querySelectorAll("details").forEach(d => d.open = true)`)
		for view, v := range views {
			if err := browsertest.View(p.ctx, v.width, v.height, v.dark); err != nil {
				t.Fatal(err)
			}
			for _, f := range axe() {
				t.Errorf("%s, %s: %s", name, view, f)
			}
			if got := p.eval(`document.documentElement.scrollWidth <= innerWidth`); got != "true" {
				t.Errorf("%s, %s scrolls sideways", name, view)
			}
		}
	}
	p.eval(`document.querySelector("main").insertAdjacentHTML("beforeend", "<img src='data:,'>")`)
	if found := axe(); len(found) != 1 || !strings.HasPrefix(found[0], "image-alt") {
		t.Errorf("a planted picture without words gives %q", found)
	}
}
