package carrier

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestParseIncoming(t *testing.T) {
	for _, c := range []struct {
		name, body string
		want       Incoming
	}{
		{"a text", `{"kind":"text","from":"+12025550143","to":"+12025550100","body":"gave 150","at":"2026-05-02T19:10:00-04:00","attached":2,"id":"x1"}`,
			Incoming{ID: "x1", Kind: KindText, From: "+12025550143", To: "+12025550100", Body: "gave 150", At: time.Date(2026, 5, 2, 23, 10, 0, 0, time.UTC), Attached: 2}},
		{"unknown fields and nulls", `{"kind":"text","from":"+12025550143","to":"+12025550100","body":"","at":null,"attached":null,"price":{"deep":[1]}}`,
			Incoming{Kind: KindText, From: "+12025550143", To: "+12025550100"}},
		{"another case is another field", `{"kind":"text","from":"+12025550143","to":"+12025550100","body":"a","BODY":"b"}`,
			Incoming{Kind: KindText, From: "+12025550143", To: "+12025550100", Body: "a"}},
		{"from a short code", `{"kind":"text","from":"40404","to":"+12025550100","body":"a"}`,
			Incoming{Kind: KindText, From: "40404", To: "+12025550100", Body: "a"}},
		{"from a name", `{"kind":"text","from":"Home Bank","to":"40404","body":"a"}`,
			Incoming{Kind: KindText, From: "Home Bank", To: "40404", Body: "a"}},
		{"not Unicode", "{\"kind\":\"text\",\"from\":\"+12025550143\",\"to\":\"+12025550100\",\"body\":\"a\xff\\ud800\\u0000b\"}",
			Incoming{Kind: KindText, From: "+12025550143", To: "+12025550100", Body: "a\uFFFD\uFFFD\x00b"}},
		{"a receipt", `{"kind":"receipt","text":"maple-17.4.0","status":"delivered"}`,
			Incoming{Kind: KindReceipt, Receipt: &Receipt{Text: "maple-17.4.0", Status: StatusDelivered}}},
		{"why is tamed", `{"kind":"receipt","text":"maple-17.4.0","status":"undelivered","why":"(202) 555-0143 not in\nservice, code 301"}`,
			Incoming{Kind: KindReceipt, Receipt: &Receipt{Text: "maple-17.4.0", Status: StatusUndelivered, Why: "… not in service, code 301"}}},
	} {
		got, err := ParseIncoming([]byte(c.body))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%s: ParseIncoming, -want +got:\n%s", c.name, d)
		}
	}
}

func TestParseIncomingRefuses(t *testing.T) {
	const text = `{"kind":"text","from":"+12025550143","to":"+12025550100","body":"secret words"`
	for _, c := range []struct{ name, body, want string }{
		{"empty", ``, "not one JSON object"},
		{"a form", `from=+12025550143&body=hi`, "not one JSON object"},
		{"a list", `[]`, "not one JSON object"},
		{"null", `null`, "the body is null"},
		{"cut off", text, "not one JSON object"},
		{"two", text + `}{}`, "something follows"},
		{"junk behind", text + `}x`, "something follows"},
		{"no kind", `{"from":"+12025550143"}`, `field "kind": it is missing`},
		{"another kind", `{"kind":"call"}`, `field "kind": it must be "text" or "receipt"`},
		{"kind a number", `{"kind":1}`, `field "kind": it must be a string`},
		{"no from", `{"kind":"text","to":"+12025550100","body":"x"}`, `field "from": it is missing`},
		{"from without plus", strings.Replace(text, "+12025550143", "12025550143", 1) + `}`, `field "from": it must be E.164`},
		{"from national", strings.Replace(text, "+12025550143", "(202) 555-0143", 1) + `}`, `field "from": it must be E.164`},
		{"from of 16 digits", strings.Replace(text, "+12025550143", "+1234567890123456", 1) + `}`, `field "from"`},
		{"from empty", strings.Replace(text, "+12025550143", "", 1) + `}`, `field "from"`},
		{"from a list", strings.Replace(text, `"+12025550143"`, `["+12025550143"]`, 1) + `}`, `field "from": it must be a string`},
		{"to without plus", strings.Replace(text, "+12025550100", "12025550100", 1) + `}`, `field "to"`},
		{"no body", `{"kind":"text","from":"+12025550143","to":"+12025550100"}`, `field "body": it is missing`},
		{"body a number", `{"kind":"text","from":"+12025550143","to":"+12025550100","body":150}`, `field "body": it must be a string`},
		{"attached below nought", text + `,"attached":-1}`, `field "attached"`},
		{"attached too many", text + `,"attached":100}`, `field "attached"`},
		{"attached half", text + `,"attached":1.5}`, `field "attached"`},
		{"at without a zone", text + `,"at":"2026-05-02T23:10:00"}`, `field "at"`},
		{"at in seconds", text + `,"at":1777763400}`, `field "at"`},
		{"at in year nought", text + `,"at":"0000-05-02T23:10:00Z"}`, `field "at"`},
		{"receipt for nothing", `{"kind":"receipt","status":"delivered"}`, `field "text"`},
		{"receipt for an empty id", `{"kind":"receipt","text":"","status":"delivered"}`, `field "text"`},
		{"receipt on its way", `{"kind":"receipt","text":"maple-17.4.0","status":"sent"}`, `field "status"`},
		{"receipt without status", `{"kind":"receipt","text":"maple-17.4.0"}`, `field "status"`},
	} {
		got, err := ParseIncoming([]byte(c.body))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", c.name, err, c.want)
			continue
		}
		if strings.Contains(err.Error(), "secret words") || strings.Contains(err.Error(), "2025550143") {
			t.Errorf("%s: the error quotes a text or a number: %v", c.name, err)
		}
		if d := cmp.Diff(Incoming{}, got); d != "" {
			t.Errorf("%s: something was read all the same:\n%s", c.name, d)
		}
	}
}

// Whatever a caregiver writes comes through as it was written.
func TestAnyBodyComesThrough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		body := rapid.String().Draw(t, "body")
		j, err := json.Marshal(map[string]any{"kind": "text", "from": "+12025550143", "to": "+12025550100", "body": body})
		if err != nil {
			t.Fatal(err)
		}
		in, err := ParseIncoming(j)
		if err != nil || in.Body != strings.ToValidUTF8(body, "\uFFFD") {
			t.Fatalf("ParseIncoming(%q) = %q, %v", j, in.Body, err)
		}
	})
}

func TestAnswerable(t *testing.T) {
	for from, want := range map[string]bool{"+12025550143": true, "40404": false, "Home Bank": false, "": false, "+0123456789": false} {
		if got := (Incoming{From: from}).Answerable(); got != want {
			t.Errorf("Answerable from %q = %v, want %v", from, got, want)
		}
	}
}

func TestTame(t *testing.T) {
	for in, want := range map[string]string{
		"":                              "",
		"error 30003":                   "error …",
		"code 404, try later":           "code 404, try later",
		"+1 (202) 555-0143 is a mess":   "… is a mess",
		"to:+12025550143.":              "to:….",
		"12\x00345, 12\u200b345":        "…, …",
		"12 a 34 b 56":                  "12 a 34 b 56",
		"line\r\nline\x00\u202eline":    "line  line  line",
		strings.Repeat("a", 300):        strings.Repeat("a", 200),
		strings.Repeat("1234567a", 300): strings.Repeat("…a", 100),
	} {
		if got := tame(in); got != want {
			t.Errorf("tame(%q) = %q, want %q", in, got, want)
		}
	}
}

func FuzzParseIncoming(f *testing.F) {
	f.Add([]byte(`{"kind":"text","from":"+12025550143","to":"+12025550100","body":"gave 150","at":"2026-05-02T19:10:00-04:00","attached":2}`))
	f.Add([]byte(`{"kind":"receipt","text":"maple-17.4.0","status":"undelivered","why":"no +12025550143"}`))
	f.Add([]byte(`{"kind":`))
	f.Fuzz(func(t *testing.T, body []byte) {
		in, err := ParseIncoming(body)
		if err != nil {
			return
		}
		switch in.Kind {
		case KindText:
			if in.Receipt != nil || senderProblem(in.From) != "" || senderProblem(in.To) != "" || in.Attached < 0 || in.Attached > attachedMost {
				t.Fatalf("ParseIncoming(%q) = %+v", body, in)
			}
		case KindReceipt:
			r := in.Receipt
			if r == nil || r.Text == "" || (r.Status != StatusDelivered && r.Status != StatusUndelivered) || r.Why != tame(r.Why) {
				t.Fatalf("ParseIncoming(%q) = %+v", body, in)
			}
		default:
			t.Fatalf("ParseIncoming(%q) has kind %q", body, in.Kind)
		}
	})
}
