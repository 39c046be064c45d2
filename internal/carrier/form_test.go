package carrier

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hearthline/internal/journal"
	"hearthline/internal/testneed"
)

func formFile(t testing.TB, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(testneed.Root(t), "testdata", "carrier", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func sampleEnv(name string) string {
	return map[string]string{
		"SAMPLE_ONE_PASSWORD": "open", "SAMPLE_ONE_SECRET": "sample-one-secret-for-tests",
		"SAMPLE_TWO_TOKEN": "tok", "SAMPLE_TWO_SECRET": "sample-two-secret-for-tests",
	}[name]
}

// sample reads a worked sample, with some of its text replaced.
func sample(t testing.TB, which string, replace ...string) (*Form, error) {
	t.Helper()
	text := formFile(t, "form-"+which+".yaml")
	for i := 0; i < len(replace); i += 2 {
		if !strings.Contains(text, replace[i]) {
			t.Fatalf("the sample has no %q to replace", replace[i])
		}
	}
	return ParseForm("form-"+which+".yaml", []byte(strings.NewReplacer(replace...).Replace(text)), sampleEnv, nil)
}

type formPost struct {
	Name    string            `json:"name"`
	Form    string            `json:"form"`
	Query   string            `json:"query"`
	Body    string            `json:"body"`
	Headers map[string]string `json:"headers"`
	Now     int64             `json:"now"`
	Want    *Incoming         `json:"want"`
}

func (p formPost) read(f *Form) (Incoming, error) {
	return f.Read(Post{Query: p.Query, Body: []byte(p.Body), Header: func(name string) string { return p.Headers[name] }}, time.Unix(p.Now, 0))
}

func formPosts(t testing.TB) []formPost {
	t.Helper()
	var file struct {
		Posts []formPost `json:"posts"`
	}
	if err := json.Unmarshal([]byte(formFile(t, "form-posts.json")), &file); err != nil {
		t.Fatal(err)
	}
	return file.Posts
}

// The recorded exchanges were signed by another program than ours.
func TestFormReadsRecordedPosts(t *testing.T) {
	posts := formPosts(t)
	if len(posts) != 8 {
		t.Fatalf("%d recorded posts, want 8", len(posts))
	}
	for _, p := range posts {
		f, err := sample(t, p.Form)
		if err != nil {
			t.Fatal(err)
		}
		got, err := p.read(f)
		if p.Want == nil {
			if !errors.Is(err, ErrNoNews) {
				t.Errorf("%s: %v, want ErrNoNews", p.Name, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", p.Name, err)
			continue
		}
		if d := cmp.Diff(*p.Want, got); d != "" {
			t.Errorf("%s: Read, -want +got:\n%s", p.Name, d)
		}
		// No part of a message can be changed.
		for what, change := range map[string]func(*formPost){
			"body":      func(q *formPost) { q.Body = strings.Replace(q.Body, "=", "=1", 1) },
			"more":      func(q *formPost) { q.Body += "&more=1" },
			"signature": func(q *formPost) { flipHeader(q.Headers, p.Headers) },
		} {
			q := p
			q.Headers = map[string]string{}
			for k, v := range p.Headers {
				q.Headers[k] = v
			}
			change(&q)
			if _, err := q.read(f); !errors.Is(err, ErrSignature) && !errors.Is(err, ErrNoSignature) {
				t.Errorf("%s, %s changed: %v, want it not to be believed", p.Name, what, err)
			}
		}
	}
}

func flipHeader(to, from map[string]string) {
	for k, v := range from {
		if !strings.HasSuffix(k, "Time") {
			b := []byte(v)
			b[8] ^= 1
			to[k] = string(b)
		}
	}
}

func TestFormRefusesPosts(t *testing.T) {
	byName := map[string]formPost{}
	for _, p := range formPosts(t) {
		byName[p.Form+" "+p.Name] = p
	}
	one, two := byName["one text with accents and an emoji"], byName["two delivered"]
	for _, c := range []struct {
		name   string
		post   formPost
		change func(*formPost)
		want   error
	}{
		{"another query", one, func(p *formPost) { p.Query = "ref=x" }, ErrSignature},
		{"no signature", one, func(p *formPost) { p.Headers = nil }, ErrNoSignature},
		{"no form", one, func(p *formPost) { p.Body = "a=%zz" }, ErrSignature},
		{"301 s old", two, func(p *formPost) { p.Now += 301 }, ErrStale},
		{"301 s early", two, func(p *formPost) { p.Now -= 301 }, ErrStale},
		{"no time", two, func(p *formPost) { p.Headers = map[string]string{"X-Check": p.Headers["X-Check"]} }, ErrNoTimestamp},
		{"prefix missing", two, func(p *formPost) {
			p.Headers = map[string]string{"X-Check": strings.TrimPrefix(p.Headers["X-Check"], "mac="), "X-Check-Time": p.Headers["X-Check-Time"]}
		}, ErrNoSignature},
	} {
		f, err := sample(t, c.post.Form)
		if err != nil {
			t.Fatal(err)
		}
		p := c.post
		c.change(&p)
		if got, err := p.read(f); !errors.Is(err, c.want) || got.ID != "" {
			t.Errorf("%s: %+v, %v; want %v", c.name, got, err, c.want)
		}
	}
}

// Believed, but not to be read: each refusal names the gateway's own field.
func TestFormFields(t *testing.T) {
	f, err := sample(t, "one")
	if err != nil {
		t.Fatal(err)
	}
	text := "message=m&sender=%2B12025550143&receiver=%2B12025550100&words=hi"
	for _, c := range []struct{ query, body, want string }{
		{"", strings.Replace(text, "message=m", "message=", 1), `field "message": it is missing`},
		{"", strings.Replace(text, "message=m", "message=a+b", 1), `field "message": it must be 1 to 256`},
		{"", strings.Replace(text, "&words=hi", "", 1), `field "words": it is missing`},
		{"", text + "&words=again", `field "words": it is there 2 times`},
		{"", strings.Replace(text, "%2B1202", "1202", 1), `field "sender": it must be E.164`},
		{"", strings.Replace(text, "%2B12025550100", "", 1), `field "receiver": it is missing`},
		{"", text + "&pictures=many", `field "pictures"`},
		{"ref=x", "outcome=vanished", `field "outcome": its value is in none of the lists`},
		{"ref=a%20b", "outcome=arrived", `field "ref"`},
		{"%zz", text, "query of the address"},
	} {
		form, err := url.ParseQuery(c.body)
		if err != nil {
			t.Fatal(err)
		}
		p := formPost{Query: c.query, Body: c.body, Headers: map[string]string{"X-Sample-Signature": signSampleOne(f, c.query, form)}}
		if got, err := p.read(f); err == nil || !strings.Contains(err.Error(), c.want) || got.ID != "" {
			t.Errorf("%q %q: %+v, %v; want %q", c.query, c.body, got, err, c.want)
		}
	}
	// A text that happens to have a field called as the receipt's status stays a text.
	form, _ := url.ParseQuery(text + "&outcome=x")
	p := formPost{Body: text + "&outcome=x", Headers: map[string]string{"X-Sample-Signature": signSampleOne(f, "", form)}}
	if got, err := p.read(f); err != nil || got.Kind != KindText {
		t.Errorf("a text with a status: %+v, %v", got, err)
	}
}

func TestFormSends(t *testing.T) {
	var got *http.Request
	var form url.Values
	answer := `{"result":0}`
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		got = r
		form, _ = url.ParseQuery(string(body))
		io.WriteString(w, answer)
	}))
	defer server.Close()
	one, err := sample(t, "one", "https://sample-one.example/send", server.URL)
	if err != nil {
		t.Fatal(err)
	}
	tricky := Text{ID: "maple-17.4.0", To: "+12025550143", Body: "a&b=c {to} 100% é", Class: journal.ClassTrouble}
	if err := one.Send(context.Background(), tricky); err != nil {
		t.Fatal(err)
	}
	user, password, _ := got.BasicAuth()
	want := url.Values{"sender": {"+12025550100"}, "receiver": {"+12025550143"}, "words": {"a&b=c {to} 100% é"}, "report_to": {"https://hearthline.example/hook/north?ref=maple-17.4.0"}}
	if d := cmp.Diff(want, form); d != "" || user != "account-7" || password != "open" {
		t.Errorf("user %q, -want +got:\n%s", user, d)
	}
	if one.Idempotent() {
		t.Error("sample one honours no key")
	}

	two, err := sample(t, "two", "https://sample-two.example/api/out", server.URL)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		answer string
		want   Outcome
	}{
		{`{"result":0}`, Taken}, {`{"result":"0"}`, Taken}, {`{"result":17}`, NotNow}, {`{"result":3,"detail":"12025550143 is no mobile"}`, Refused},
		{`{"result":99}`, Unknown}, {`{}`, Unknown}, {``, Unknown}, {`<html>`, Unknown}, {`{"result":0.0}`, Unknown},
	} {
		answer = c.answer
		err := two.Send(context.Background(), tricky)
		if OutcomeOf(err) != c.want || err != nil && leaks(err) {
			t.Errorf("answer %s: %v, want outcome %v", c.answer, err, c.want)
		}
	}
	want = url.Values{"src": {"40404"}, "dst": {"12025550143"}, "txt": {"a&b=c {to} 100% é"}, "tag": {"maple-17.4.0"}, "lane": {"trouble"}}
	if d := cmp.Diff(want, form); d != "" || got.Header.Get("Idempotency-Key") != "maple-17.4.0" || got.Header.Get("Authorization") != "Bearer tok" {
		t.Errorf("headers %v, -want +got:\n%s", got.Header, d)
	}
	if !two.Idempotent() {
		t.Error("sample two honours a key")
	}
}

func TestFormConfigRefused(t *testing.T) {
	for _, c := range []struct {
		which   string
		replace []string
		want    string
	}{
		{"one", []string{`sender: "{from}"`, `whose: "{from}"`}, ""},
		{"one", []string{"  from: sender", "  frm: sender"}, `unknown field "frm"`},
		{"one", []string{"  from: sender\n", ""}, "form-one.yaml:17: in.from: it is missing"},
		{"one", []string{"url: https", "url: ftp"}, "form-one.yaml:6: out.url: it must be a whole address"},
		{"one", []string{"url: https://sample", "url: http://sample"}, "in the clear"},
		{"one", []string{"{body}", "{boddy}"}, `out.fields.words: it is "boddy"; it must be one of id, from,`},
		{"one", []string{`receiver: "{to}"`, `receiver: "x"`}, "no field holds {to}"},
		{"one", []string{`words: "{body}"`, `words: "x"`}, "no field holds {body}"},
		{"one", []string{"hmac-sha1", "md5"}, `signature.algorithm: it is "md5"`},
		{"one", []string{"base64", "base32"}, "signature.encoding"},
		{"one", []string{"{url}{fields}", "{url}"}, "anyone could change a message"},
		{"one", []string{"  without_time: true\n", ""}, "played again"},
		{"one", []string{"  public_url: https://hearthline.example/hook/north\n", ""}, "signature.public_url"},
		{"one", []string{"SAMPLE_ONE_SECRET", "SAMPLE_ONE_SECRET_NOT_SET"}, "environment variable SAMPLE_ONE_SECRET_NOT_SET is empty"},
		{"one", []string{"  password_env: SAMPLE_ONE_PASSWORD\n", ""}, "out.user"},
		{"one", []string{"[lost, blocked]", "[lost, arrived]"}, `"arrived" is listed twice`},
		{"one", []string{"timeout: 15s", "timeout: 15"}, "out.timeout"},
		{"one", []string{`"+12025550100"`, `"202 555 0100"`}, "out.from"},
		{"two", []string{"at_as: unix_ms", "at_as: excel"}, "in.at_as"},
		{"two", []string{`"{timestamp}\n{body}"`, `"{body}"`}, "a time that is not signed proves nothing"},
		{"two", []string{"  timestamp_header: X-Check-Time\n", ""}, "signature.timestamp_header"},
		{"two", []string{"Idempotency-Key", "Idempotency Key"}, "a header has a name"},
		{"two", []string{`tag: "{id}"`, `tag: "x"`, `Idempotency-Key: "{id}"`, `X: "y"`}, "cannot know a text again"},
		{"two", []string{"    taken: [0]\n", ""}, "out.says.taken"},
		{"two", []string{"out:", "out: ["}, "not YAML"},
		{"two", []string{"  idempotent: true\n", "  idempotent: true\n  idempotent: true\n"}, "idempotent"},
	} {
		_, err := sample(t, c.which, c.replace...)
		if (c.want == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.replace, err, c.want)
		}
		if err != nil && !strings.Contains(err.Error(), "form-"+c.which+".yaml") {
			t.Errorf("%q: the error names no file: %v", c.replace, err)
		}
	}
	if _, err := ParseForm("empty.yaml", nil, sampleEnv, nil); err == nil {
		t.Error("an empty file was taken")
	}
}

func FuzzFormRead(f *testing.F) {
	for _, p := range formPosts(f) {
		f.Add(p.Form == "two", p.Query, p.Body, true)
	}
	one, err := sample(f, "one")
	if err != nil {
		f.Fatal(err)
	}
	two, err := sample(f, "two", `{timestamp}\n{body}`, `{body}`, "  timestamp_header: X-Check-Time\n", "  without_time: true\n")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, second bool, query, body string, sign bool) {
		form, _ := url.ParseQuery(body)
		gateway, header, signature := one, "X-Sample-Signature", signSampleOne(one, query, form)
		if second {
			gateway, header, signature = two, "X-Check", signSampleTwo(two, body)
		}
		if !sign {
			signature = signature[:len(signature)-6] + "AAAAA="
		}
		in, err := formPost{Query: query, Body: body, Headers: map[string]string{header: signature}}.read(gateway)
		if err != nil {
			return
		}
		if !sign && !strings.HasSuffix(signature, "AAAAA=") {
			t.Fatalf("an unsigned form was read: %+v", in)
		}
		if checkID(in.ID) != nil && in.Kind == KindText || in.Kind == KindText && (senderProblem(in.From) != "" || senderProblem(in.To) != "") || in.Kind == KindReceipt && in.Receipt == nil {
			t.Fatalf("read %+v", in)
		}
	})
}

func FuzzParseForm(f *testing.F) {
	f.Add([]byte(formFile(f, "form-one.yaml")))
	f.Add([]byte(formFile(f, "form-two.yaml")))
	f.Add([]byte("out: {fields: {a: '{to}'}}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		form, err := ParseForm("f.yaml", data, sampleEnv, nil)
		if (form == nil) != (err != nil) {
			t.Fatalf("ParseForm = %v, %v", form, err)
		}
	})
}
