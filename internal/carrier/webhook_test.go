package carrier

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The example of the Standard Webhooks reference libraries' own tests.
const (
	vectorSecret    = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
	vectorID        = "msg_p5jXN8AQM9LWM0D4loKWxJek"
	vectorSeconds   = 1614265330
	vectorBody      = `{"test": 2432232314}`
	vectorSignature = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
)

func secret(t testing.TB, s string) Secret {
	t.Helper()
	k, err := ParseSecret(s)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func vectorHeaders() Headers {
	return Headers{vectorID, strconv.Itoa(vectorSeconds), vectorSignature}
}

func TestPublishedVector(t *testing.T) {
	k := secret(t, vectorSecret)
	at := time.Unix(vectorSeconds, 999_999_999) // fractions of a second are cut off
	if got := Sign([]Secret{k}, vectorID, at, []byte(vectorBody)); got != vectorSignature {
		t.Errorf("Sign = %q, want %q", got, vectorSignature)
	}
	if err := Verify([]Secret{k}, vectorHeaders(), []byte(vectorBody), at); err != nil {
		t.Errorf("Verify = %v, want nil", err)
	}
}

func TestVerify(t *testing.T) {
	k := secret(t, vectorSecret)
	other := secret(t, "whsec_"+strings.Repeat("QUJD", 10))
	third := secret(t, "whsec_"+strings.Repeat("REVG", 10))
	at := time.Unix(vectorSeconds, 0)
	good := []Secret{k}
	for _, c := range []struct {
		name    string
		secrets []Secret
		change  func(*Headers)
		now     time.Time
		want    error
	}{
		{"as published", good, nil, at, nil},
		// Tolerance: 300 s either way is taken, 301 s is not (the reference library's five minutes).
		{"300 s old", good, nil, at.Add(300 * time.Second), nil},
		{"301 s old", good, nil, at.Add(301 * time.Second), ErrStale},
		{"300.9 s old", good, nil, at.Add(300*time.Second + 900*time.Millisecond), nil},
		{"300 s early", good, nil, at.Add(-300 * time.Second), nil},
		{"301 s early", good, nil, at.Add(-301 * time.Second), ErrStale},
		{"far future", good, func(h *Headers) { h.Timestamp = "9223372036854775807" }, at, ErrStale},
		{"new secret first", []Secret{other, k}, nil, at, nil},
		{"new secret last", []Secret{k, other}, nil, at, nil},
		{"wrong secret", []Secret{other}, nil, at, ErrSignature},
		{"no secret", nil, nil, at, ErrSignature},
		{"several signatures, ours last", good, func(h *Headers) {
			h.Signature = Sign([]Secret{other, third}, h.ID, at, []byte(vectorBody)) + " " + h.Signature
		}, at, nil},
		{"other versions are passed over", good, func(h *Headers) { h.Signature = "v1a,AAAA v2,xx " + h.Signature }, at, nil},
		{"only another version", good, func(h *Headers) { h.Signature = "v1a," + strings.TrimPrefix(h.Signature, "v1,") }, at, ErrNoSignature},
		{"no id", good, func(h *Headers) { h.ID = "" }, at, ErrNoID},
		{"id with a space", good, func(h *Headers) { h.ID = "a b" }, at, ErrNoID},
		{"id with a line end", good, func(h *Headers) { h.ID = "a\n" }, at, ErrNoID},
		{"id too long", good, func(h *Headers) { h.ID = strings.Repeat("a", 257) }, at, ErrNoID},
		{"another id", good, func(h *Headers) { h.ID += "x" }, at, ErrSignature},
		{"no time", good, func(h *Headers) { h.Timestamp = "" }, at, ErrNoTimestamp},
		{"time with a sign", good, func(h *Headers) { h.Timestamp = "+1614265330" }, at, ErrNoTimestamp},
		{"time with a nought", good, func(h *Headers) { h.Timestamp = "01614265330" }, at, ErrNoTimestamp},
		{"time below nought", good, func(h *Headers) { h.Timestamp = "-1614265330" }, at, ErrNoTimestamp},
		{"time in milliseconds", good, func(h *Headers) { h.Timestamp += "000" }, at, ErrStale},
		{"time with a fraction", good, func(h *Headers) { h.Timestamp += ".0" }, at, ErrNoTimestamp},
		{"another second", good, func(h *Headers) { h.Timestamp = "1614265331" }, at, ErrSignature},
		{"no signature", good, func(h *Headers) { h.Signature = "" }, at, ErrNoSignature},
		{"no version", good, func(h *Headers) { h.Signature = strings.TrimPrefix(h.Signature, "v1,") }, at, ErrNoSignature},
		{"short signature", good, func(h *Headers) { h.Signature = "v1,AAAA" }, at, ErrNoSignature},
		{"spare bits set", good, func(h *Headers) { h.Signature = strings.TrimSuffix(h.Signature, "E=") + "F=" }, at, ErrNoSignature},
	} {
		h := vectorHeaders()
		if c.change != nil {
			c.change(&h)
		}
		if err := Verify(c.secrets, h, []byte(vectorBody), c.now); !errors.Is(err, c.want) {
			t.Errorf("%s: Verify = %v, want %v", c.name, err, c.want)
		}
	}
}

// What was signed verifies; what differs in one byte, anywhere, does not.
func TestTamperingFails(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Secret {
			return Secret{rapid.SliceOfN(rapid.Byte(), secretLeast, secretMost).Draw(t, "key")}
		}), 1, 3).Draw(t, "keys")
		id := rapid.StringMatching(`[!-~]{1,40}`).Draw(t, "id")
		body := []byte("{" + rapid.String().Draw(t, "body") + "}")
		at := time.Unix(rapid.Int64Range(0, 4_000_000_000).Draw(t, "at"), 0)
		sign := rapid.IntRange(0, len(keys)-1).Draw(t, "signs with")
		h := Headers{id, strconv.FormatInt(at.Unix(), 10), Sign(keys[sign:sign+1], id, at, body)}
		if err := Verify(keys, h, body, at); err != nil {
			t.Fatalf("as signed: %v", err)
		}

		flip := func(s string, name string) string {
			b := []byte(s)
			i := rapid.IntRange(0, len(b)-1).Draw(t, name+" byte")
			b[i] ^= 1 << rapid.IntRange(0, 7).Draw(t, name+" bit")
			return string(b)
		}
		if Verify(keys, h, []byte(flip(string(body), "body")), at) == nil {
			t.Fatal("a changed body was believed")
		}
		for _, bad := range []Headers{
			{flip(h.ID, "id"), h.Timestamp, h.Signature},
			{h.ID, flip(h.Timestamp, "time"), h.Signature},
			{h.ID, h.Timestamp, flip(h.Signature, "signature")},
		} {
			if Verify(keys, bad, body, at) == nil {
				t.Fatalf("changed headers were believed: %q", bad)
			}
		}
	})
}

// Two messages of which an id holds a full stop can share a signed text. The
// second reading has a body that is no JSON object, so the hook refuses it.
func TestFullStopInID(t *testing.T) {
	k := []Secret{secret(t, vectorSecret)}
	at := time.Unix(vectorSeconds, 0)
	body := []byte(`{"kind":"text"}`)
	sig := Sign(k, fmt.Sprintf("a.%d", vectorSeconds), at, body)
	shifted := []byte(fmt.Sprintf("%d.%s", vectorSeconds, body))
	if err := Verify(k, Headers{"a", strconv.Itoa(vectorSeconds), sig}, shifted, at); err != nil {
		t.Fatalf("the two are expected to share a signature: %v", err)
	}
	if _, err := ParseIncoming(shifted); err == nil {
		t.Error("the shifted body was read")
	}
}

func TestParseSecret(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"the published one", vectorSecret, ""},
		{"with a line end, as from a file", vectorSecret + "\n", ""},
		{"64 bytes", "whsec_" + strings.Repeat("QUJD", 21) + "QQ==", ""},
		{"no prefix", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "begins with"},
		{"empty", "", "begins with"},
		{"public key prefix", "whpk_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "begins with"},
		{"not base64", "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLa*w", "not base64"},
		{"line end within", "whsec_MfKQ9r8GKYqrTwjU\nPD8ILPZIo2LaLaSw", "not base64"},
		{"url alphabet", "whsec_" + strings.Repeat("-_-_", 10), "not base64"},
		{"no padding", "whsec_" + strings.Repeat("QUJD", 8) + "QQ", "not base64"},
		{"23 bytes", "whsec_" + strings.Repeat("QUJD", 7) + "QUI=", "23 bytes"},
		{"65 bytes", "whsec_" + strings.Repeat("QUJD", 21) + "QUI=", "65 bytes"},
	} {
		_, err := ParseSecret(c.in)
		if (c.want == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: ParseSecret = %v, want %q", c.name, err, c.want)
		}
		if err != nil && len(c.in) > 10 && strings.Contains(err.Error(), c.in[6:]) {
			t.Errorf("%s: the error quotes the secret: %v", c.name, err)
		}
	}
}

func TestSecretDoesNotPrint(t *testing.T) {
	k := secret(t, vectorSecret)
	holder := struct {
		Name string
		Key  Secret
		Keys []Secret
	}{"north", k, []Secret{k}}
	var out strings.Builder
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%d"} {
		fmt.Fprintf(&out, verb+"\n", holder)
		fmt.Fprintf(&out, verb+"\n", &holder)
	}
	j, err := json.Marshal(holder)
	if err != nil {
		t.Fatal(err)
	}
	out.Write(j)
	slog.New(slog.NewTextHandler(&out, nil)).Info("x", "holder", holder, "key", k)
	for _, leak := range []string{vectorSecret[6:], "31f290f6", "49 242", "0x31"} {
		if strings.Contains(out.String(), leak) {
			t.Errorf("the secret was written out (%q):\n%s", leak, out.String())
		}
	}
}

func FuzzVerifyHeaders(f *testing.F) {
	f.Add(vectorID, strconv.Itoa(vectorSeconds), vectorSignature)
	f.Add("", "", "")
	f.Add("a.1", "1", "v1, v1,= v1a,x")
	k := []Secret{secret(f, vectorSecret)}
	f.Fuzz(func(t *testing.T, id, seconds, signature string) {
		at := time.Unix(vectorSeconds, 0)
		err := Verify(k, Headers{id, seconds, signature}, []byte(vectorBody), at)
		if err == nil {
			// Only what Sign itself would have made may be believed.
			n, perr := strconv.ParseInt(seconds, 10, 64)
			if perr != nil || !strings.Contains(signature, Sign(k, id, time.Unix(n, 0), []byte(vectorBody))) {
				t.Fatalf("believed: %q %q %q", id, seconds, signature)
			}
			return
		}
		for _, want := range []error{ErrNoID, ErrNoTimestamp, ErrNoSignature, ErrStale, ErrSignature} {
			if errors.Is(err, want) {
				return
			}
		}
		t.Fatalf("none of the five errors: %v", err)
	})
}

func FuzzParseSecret(f *testing.F) {
	f.Add(vectorSecret)
	f.Add("whsec_")
	f.Add("whsec_====")
	f.Fuzz(func(t *testing.T, s string) {
		k, err := ParseSecret(s)
		if err != nil {
			return
		}
		if len(k.key) < secretLeast || len(k.key) > secretMost {
			t.Fatalf("ParseSecret(%q) took %d bytes", s, len(k.key))
		}
	})
}

func BenchmarkVerifyAndParse(b *testing.B) {
	k := []Secret{secret(b, vectorSecret)}
	at := time.Unix(vectorSeconds, 0)
	body := []byte(`{"kind":"text","from":"+12025550143","to":"+12025550100","body":"gave 150 then he threw up twice"}`)
	h := Headers{vectorID, strconv.Itoa(vectorSeconds), Sign(k, vectorID, at, body)}
	b.ReportAllocs()
	for b.Loop() {
		if err := Verify(k, h, body, at); err != nil {
			b.Fatal(err)
		}
		if _, err := ParseIncoming(body); err != nil {
			b.Fatal(err)
		}
	}
}
