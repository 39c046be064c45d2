package web

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// client is one browser without scripts: it keeps its cookie and sends forms
// with the token that the last page carried.
type client struct {
	t      testing.TB
	site   *Site
	cookie string
	form   string
	header http.Header // sent with everything
}

func (c *client) do(method, path string, form url.Values) (int, string, http.Header) {
	c.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r := httptest.NewRequest(method, path, body)
	r.Host = "pages.test"
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if c.cookie != "" {
		r.Header.Set("Cookie", cookieName+"="+c.cookie)
	}
	for k, v := range c.header {
		r.Header[k] = v
	}
	res, err := c.site.Test(r, -1)
	if err != nil {
		c.t.Fatalf("%s %s: %v", method, path, err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		c.t.Fatalf("%s %s: %v", method, path, err)
	}
	for _, k := range res.Cookies() {
		if k.Name == cookieName {
			c.cookie = k.Value
		}
	}
	return res.StatusCode, string(b), res.Header
}

// get returns the page and remembers its form token.
func (c *client) get(path string) doc {
	c.t.Helper()
	status, body, _ := c.do("GET", path, nil)
	if status != http.StatusOK {
		c.t.Fatalf("GET %s = %d\n%s", path, status, body)
	}
	d := parse(c.t, body)
	if found := d.all("[name=form]"); len(found) > 0 {
		c.form, _ = attr(found[0], "value")
	}
	return d
}

// post sends a form as the last page would have.
func (c *client) post(path string, pairs ...string) (int, doc, http.Header) {
	c.t.Helper()
	f := url.Values{"form": {c.form}}
	for i := 0; i+1 < len(pairs); i += 2 {
		f.Set(pairs[i], pairs[i+1])
	}
	status, body, h := c.do("POST", path, f)
	return status, parse(c.t, body), h
}

// signedIn returns a nurse at the pages of a desk.
func signedIn(t testing.TB, s *Site, name string) *client {
	t.Helper()
	c := &client{t: t, site: s}
	status, _, h := c.post("/signin", "token", s.cfg.Token, "name", name, "to", "/queue")
	if status != http.StatusSeeOther || h.Get("Location") != "/queue" || c.cookie == "" {
		t.Fatalf("sign-in = %d to %q", status, h.Get("Location"))
	}
	c.get("/queue")
	return c
}
