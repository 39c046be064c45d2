package web

import (
	"flag"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/testneed"
)

var update = flag.Bool("update", false, "write the golden files anew")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join(testneed.Root(t), "testdata", "pages", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; write it with -update", err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("%s differs (-want +got); -update writes it anew:\n%s", name, d)
	}
}

// settle takes out of a page what differs from run to run, and breaks its lines
// so that a difference can be read.
func settle(page string) string {
	page = regexp.MustCompile(`name="form" value="[^"]*"`).ReplaceAllString(page, `name="form" value="FORM"`)
	page = regexp.MustCompile(`name="seen" value="[^"]*"`).ReplaceAllString(page, `name="seen" value="SEEN"`)
	page = regexp.MustCompile(`\?v=[0-9a-f]+`).ReplaceAllString(page, "?v=HASH")
	return strings.ReplaceAll(page, "><", ">\n<") + "\n"
}

func TestGoldenPages(t *testing.T) {
	cfg, _, _ := demoConfig(newDesk())
	c := &client{t: t, site: newSite(t, cfg)}
	for _, p := range everyPage {
		_, page, _ := c.do("GET", p.path, nil)
		golden(t, p.name+".html", settle(page))
	}
}

func TestQueueShowsNearestFirst(t *testing.T) {
	d := newDesk()
	q := signedIn(t, newSite(t, testConfig(d)), "nora").get("/queue")
	rows := q.all(".case")
	if len(rows) != 2 {
		t.Fatalf("%d cases, want 2", len(rows))
	}
	for i, want := range []string{"overdue by 4 min", "12 min left"} {
		if got := text(rows[i]); !strings.Contains(got, want) {
			t.Errorf("case %d = %q, want %q in it", i, got, want)
		}
	}
	if got := q.one("[id=case-maple-17.11.1] mark"); got != "threw up twice" {
		t.Errorf("marked %q, want the words that decided it", got)
	}
	for sel, want := range map[string]string{
		"title":                                   "(2) Cases · Hearthline",
		"[id=case-number-9f2c.1.1] .tag":          "Number not known",
		"[id=case-maple-17.11.1] h2":              "Vomiting or nausea",
		"[id=case-maple-17.11.1] .holder":         "Nobody holds it",
		".caution":                                say("caution"),
		"[id=case-maple-17.11.1] .about .code":    "maple-17",
		"[id=case-maple-17.11.1] .margin .left":   "12 min left",
		"[id=case-number-9f2c.1.1] .margin .left": "overdue by 4 min",
	} {
		if got := q.one(sel); got != want {
			t.Errorf("%s = %q, want %q", sel, got, want)
		}
	}
	if !strings.Contains(text(q.root), "low profile tube") || !strings.Contains(text(q.root), "Answer by 03:24 CDT") {
		t.Error("the row says neither tube nor time with its zone")
	}
	if len(q.all("#unsigned")) != 0 {
		t.Error("the banner of unsigned flows stands on a page of signed ones")
	}
}

func TestQueueThatCannotBeReadIsNotEmpty(t *testing.T) {
	d := newDesk()
	s := newSite(t, testConfig(d))
	c := signedIn(t, s, "nora")
	d.change(func(d *fakeDesk) { d.fail = errStoreDown })
	for _, path := range []string{"/queue", "/households"} {
		status, page, _ := c.do("GET", path, nil)
		if status != http.StatusServiceUnavailable {
			t.Errorf("%s = %d, want 503", path, status)
		}
		p := parse(t, page)
		if got := p.one(".refused"); !strings.Contains(got, "could not be read") {
			t.Errorf("%s says %q", path, got)
		}
		if strings.Contains(page, "No case is open") || strings.Contains(page, "No household is enrolled") {
			t.Errorf("%s says that there is nothing", path)
		}
		if strings.Contains(page, "secret detail") {
			t.Errorf("%s shows the cause", path)
		}
	}
}

func TestInternalErrorHidesItsCause(t *testing.T) {
	d := newDesk()
	c := signedIn(t, newSite(t, testConfig(d)), "nora")
	d.change(func(d *fakeDesk) { d.fail = errStoreDown })
	status, page, _ := c.do("GET", "/case/maple-17/maple-17.11.1", nil)
	if status != http.StatusInternalServerError || strings.Contains(page, "secret") || !strings.Contains(page, "Internal error") {
		t.Errorf("= %d\n%s", status, page)
	}
}

// TestCaseThroughItsLife takes, writes and closes with scripts off.
func TestCaseThroughItsLife(t *testing.T) {
	d := newDesk()
	s := newSite(t, testConfig(d))
	nora, omar := signedIn(t, s, "nora"), signedIn(t, s, "omar")
	at := "/case/maple-17/maple-17.11.1"
	see := func(status int, h http.Header) {
		t.Helper()
		if status != http.StatusSeeOther || h.Get("Location") != at {
			t.Fatalf("= %d to %q, want the case again", status, h.Get("Location"))
		}
	}
	status, _, h := nora.post(at + "/claim")
	see(status, h)
	if got := nora.get(at).one("#standing .holder"); got != "You hold it" {
		t.Errorf("nora sees %q", got)
	}
	// The other nurse comes a moment later: she sees who holds it, and why not she.
	status, page, _ := omar.post(at + "/claim")
	if status != http.StatusConflict || page.one("[role=alert]") != "Not carried out: nora holds this case already" {
		t.Errorf("omar's claim = %d, %q", status, page.one("[role=alert]"))
	}
	if got := page.one("#standing .holder"); got != "nora holds it" {
		t.Errorf("omar sees %q", got)
	}
	status, _, h = nora.post(at+"/write", "body", "Please stop the feed.\r\nI will call.")
	see(status, h)
	status, _, h = nora.post(at+"/close", "disposition", "disposition.advised", "note", "rang Ana")
	see(status, h)
	want := []household.Event{
		household.Claim{By: "staff:nora", Case: "maple-17.11.1"},
		household.Claim{By: "staff:omar", Case: "maple-17.11.1"},
		household.Write{By: "staff:nora", Case: "maple-17.11.1", Body: "Please stop the feed.\nI will call."},
		household.Close{By: "staff:nora", Case: "maple-17.11.1", Disposition: "disposition.advised", Note: "rang Ana"},
	}
	if diff := cmp.Diff(want, d.acts()); diff != "" {
		t.Errorf("acts (-want +got):\n%s", diff)
	}
	p := nora.get(at)
	if len(p.all("#write"))+len(p.all("#close")) != 0 {
		t.Error("a closed case still has forms")
	}
	history := p.one(".history")
	for _, want := range []string{"nora took it", "nora wrote to the caregiver", "nora closed it: Advised; stays at home. Note: rang Ana"} {
		if !strings.Contains(history, want) {
			t.Errorf("history %q lacks %q", history, want)
		}
	}
}

// TestNothingTypedIsLost gives back what was typed whenever an act is not carried out.
func TestNothingTypedIsLost(t *testing.T) {
	long := strings.Repeat("We will call you. ", 20) // 360 characters: three segments
	tests := []struct {
		name, act  string
		form       []string
		refuse     error
		status     int
		words      string
		kept, sels string
	}{
		{"refused", "write", []string{"body", "hello there"}, &household.Refused{Why: "the case is closed"}, 409, "Not carried out: the case is closed", "hello there", "#body"},
		{"store down", "write", []string{"body", "hello there"}, errStoreDown, 500, say("case.failed"), "hello there", "#body"},
		{"too long", "write", []string{"body", long}, nil, 422, "This text takes 3 segments; two are the limit. Shorten it: nothing was sent.", strings.TrimSpace(long), "#body"},
		{"empty", "write", []string{"body", " \r\n "}, nil, 422, say("case.empty_body"), "", "#body"},
		{"no disposition", "close", []string{"note", "half a note"}, nil, 422, say("case.no_disposition"), "half a note", "#note"},
		{"made-up disposition", "close", []string{"disposition", "disposition.nothing", "note", "n"}, nil, 422, say("case.no_disposition"), "n", "#note"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := newDesk()
			c := signedIn(t, newSite(t, testConfig(d)), "nora")
			c.get("/case/maple-17/maple-17.11.1")
			d.change(func(d *fakeDesk) { d.refuse = tt.refuse })
			status, p, _ := c.post("/case/maple-17/maple-17.11.1/"+tt.act, tt.form...)
			if status != tt.status || p.one("[role=alert]") != tt.words {
				t.Errorf("= %d %q, want %d %q", status, p.one("[role=alert]"), tt.status, tt.words)
			}
			if got := p.one(tt.sels); got != tt.kept {
				t.Errorf("%s = %q, want %q", tt.sels, got, tt.kept)
			}
			if len(d.acts()) != 0 {
				t.Errorf("acts = %v, want none", d.acts())
			}
		})
	}
}

func TestThreadShowsReadingBesideText(t *testing.T) {
	c := signedIn(t, newSite(t, testConfig(newDesk())), "nora")
	p := c.get("/case/maple-17/maple-17.11.1")
	for sel, want := range map[string]string{
		"#record blockquote mark": "threw up twice",
		".reading .unread":        "Not understood: zorp",
		"#record .in .tag":        "this case",
	} {
		if got := p.one(sel); got != want {
			t.Errorf("%s = %q, want %q", sel, got, want)
		}
	}
	reading := p.one(".reading")
	for _, want := range []string{"for a person", "Present: vomiting", "Denied: fever", "150 mL given", "Filed: 150 mL of the feed given"} {
		if !strings.Contains(reading, want) {
			t.Errorf("reading %q lacks %q", reading, want)
		}
	}
	all := text(p.root)
	for _, want := range []string{"reminder → Ana · delivered", "answer to trouble → Ana · no receipt yet", "Times are in America/Chicago."} {
		if !strings.Contains(all, want) {
			t.Errorf("page lacks %q", want)
		}
	}
}

func TestReceiptsAreSaid(t *testing.T) {
	d := newDesk()
	d.add(maple, journal.Entry{At: ms(0), By: "engine", Kind: journal.KindReceipt, Receipt: &journal.Receipt{Text: "maple-17.11.2", Status: "undelivered", Why: "no_such_number"}})
	c := signedIn(t, newSite(t, testConfig(d)), "nora")
	if got := c.get("/household/maple-17").one(".failed .foot"); got != "answer to trouble → Ana · not delivered (no such number)" {
		t.Errorf("foot = %q", got)
	}
}

func TestHouseholdsShowWhatIsNotKnown(t *testing.T) {
	p := signedIn(t, newSite(t, testConfig(newDesk())), "cora").get("/households")
	if got := p.one("#household-maple-17 .latest"); got != "Sat 2 May, still running: 150 of 900 mL given, 150 mL known short, 300 mL not asked, 300 mL held by a nurse." {
		t.Errorf("latest = %q", got)
	}
	label := p.attr("#household-maple-17 .columns", "aria-label")
	for _, want := range []string{"Thu 30 Apr: 900 of 900 mL given, 20 mL beyond the prescription.", "Fri 1 May: 450 of 900 mL given, 150 mL known short, 300 mL not reported."} {
		if !strings.Contains(label, want) {
			t.Errorf("picture says %q, want %q in it", label, want)
		}
	}
	for class, want := range map[string]int{"p-given": 3, "p-short": 2, "p-not-reported": 1, "p-not-asked": 1, "p-held": 1, "p-over": 1} {
		if got := len(p.all("#household-maple-17 .columns ." + class)); got != want {
			t.Errorf("%d parts of class %s, want %d", got, class, want)
		}
	}
	if got := len(p.all("#household-maple-17 tbody tr")); got != 3 {
		t.Errorf("table has %d days, want 3", got)
	}
	cedarRow := p.one("#household-cedar-4")
	for _, want := range []string{"reminders paused", "2 in a row not delivered", "no text yet", "No feed day yet."} {
		if !strings.Contains(cedarRow, want) {
			t.Errorf("cedar-4 = %q, lacks %q", cedarRow, want)
		}
	}
}

func TestHouseholdIsPausedByAPerson(t *testing.T) {
	d := newDesk()
	c := signedIn(t, newSite(t, testConfig(d)), "cora")
	c.get("/household/maple-17")
	if status, _, _ := c.post("/household/maple-17/pause", "on", "yes", "why", "in hospital"); status != http.StatusSeeOther {
		t.Fatalf("pause = %d", status)
	}
	want := []household.Event{household.SetPause{By: "staff:cora", On: true, Why: "in hospital"}}
	if diff := cmp.Diff(want, d.acts()); diff != "" {
		t.Errorf("acts (-want +got):\n%s", diff)
	}
	p := c.get("/household/maple-17")
	if got := p.attr("#pause [name=on]", "value"); got != "no" {
		t.Errorf("the form of a paused household sends on=%q, want no", got)
	}
	if !strings.Contains(text(p.root), "Reminders paused by cora: in hospital") {
		t.Error("the thread does not say who paused it and why")
	}
}

func TestNotFoundInWords(t *testing.T) {
	c := signedIn(t, newSite(t, testConfig(newDesk())), "nora")
	for path, words := range map[string]string{
		"/household/nobody": say("household.gone"), "/case/maple-17/x": say("case.gone"), "/case/nobody/x": say("case.gone"),
		"/nothing": say("error.not_found"), "/phones": say("error.not_found"), "/static/none.js": say("error.not_found"),
	} {
		status, page, _ := c.do("GET", path, nil)
		if got := parse(t, page).one(".refused"); status != http.StatusNotFound || got != words {
			t.Errorf("%s = %d %q, want 404 %q", path, status, got, words)
		}
	}
}

// attacks are texts that would run, restyle or break out of a page that let them.
var attacks = []string{
	`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `' onmouseover='alert(1)`, `</blockquote></li><h1>gone</h1>`,
	`<style>*{display:none}</style>`, `{{constructor.constructor('x')()}}`, `javascript:alert(1)`, `<a hx-get="/queue" hx-trigger="load">x</a>`,
	`<svg><script>alert(1)</script></svg>`, "\u202egnp.exe", "<!--", `]]>`, `&lt;b&gt;`,
}

func TestTextsNeverBecomeMarkup(t *testing.T) {
	for _, attack := range attacks {
		d := newDesk()
		half := attack[:len(attack)/2]
		d.change(func(d *fakeDesk) {
			d.openCase(maple, 90, 5*time.Minute, attack, half)
			d.openCase(maple, 91, 5*time.Minute, attack, attack)
			s := d.states[maple]
			s.Name, s.Tag, s.Caregivers[0].Name, s.Cases[1].Holder, s.Cases[1].Why = attack, attack, attack, "staff:"+attack, attack
			s.Caregivers[0].Phone = attack
			d.add(maple, journal.Entry{At: ms(0), By: "staff:" + attack, Kind: journal.KindCaseMoved,
				CaseMoved: &journal.CaseMoved{Case: "maple-17.90.1", To: "closed", Disposition: attack, Note: attack}})
			d.add(maple, journal.Entry{At: ms(0), By: "staff:" + attack, Kind: journal.KindTextOut,
				TextOut: &journal.TextOut{ID: "o", Body: attack, Why: attack}})
		})
		cfg, phones, _ := demoConfig(d)
		phones.texts["+12025550143"] = append(phones.texts["+12025550143"], PhoneText{At: testNow, Body: attack, Mine: true})
		c := &client{t: t, site: newSite(t, cfg)}
		shown := false
		for _, path := range []string{"/queue", "/case/maple-17/maple-17.90.1", "/households", "/household/maple-17", "/phones/1"} {
			p := c.get(path)
			for n := range p.root.Descendants() {
				if n.Data == "script" && len(n.Attr) == 0 || n.Data == "style" || n.Data == "img" {
					t.Errorf("%s with %q has an element %s", path, attack, n.Data)
				}
				for _, a := range n.Attr {
					if strings.HasPrefix(a.Key, "on") && a.Key != "on" {
						t.Errorf("%s with %q has an attribute %s", path, attack, a.Key)
					}
					if a.Key == "href" && strings.HasPrefix(a.Val, "javascript:") {
						t.Errorf("%s with %q has a link to a script", path, attack)
					}
				}
			}
			if len(p.all("h1")) != 1 {
				t.Errorf("%s with %q has %d headings, want 1", path, attack, len(p.all("h1")))
			}
			for _, q := range append(p.all("blockquote"), p.all(".text")...) {
				if strings.ReplaceAll(text(q), " ", "") == strings.ReplaceAll(attack, " ", "") {
					shown = true
				}
			}
		}
		if !shown {
			t.Errorf("%q is nowhere shown as it was written", attack)
		}
	}
}

func TestUnsignedFlowsAreSaidOnEveryPage(t *testing.T) {
	cfg, _, _ := demoConfig(newDesk())
	c := &client{t: t, site: newSite(t, cfg)}
	for _, p := range everyPage {
		_, page, _ := c.do("GET", p.path, nil)
		d := parse(t, page)
		if d.one("#unsigned") != say("banner.unsigned") || d.one(".caution") != say("caution") {
			t.Errorf("%s lacks banner or caution", p.path)
		}
		if d.attr("html", "lang") != "en" || len(d.all(".skip")) != 1 || len(d.all("style")) != 0 || len(d.all("[style]")) != 0 {
			t.Errorf("%s: lang, skip link or inline style", p.path)
		}
	}
}
