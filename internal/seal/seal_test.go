package seal

import (
	"bytes"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"strings"
	"testing"

	"golang.org/x/crypto/chacha20poly1305"
	"pgregory.net/rapid"
)

func line(id string, fill byte) string {
	return id + ":" + base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{fill}, KeyBytes))
}

func keys(t testing.TB, lines ...string) *Keys {
	t.Helper()
	k, err := ParseKeys(strings.Join(lines, "\n"))
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestSealedOpensOnlyInItsPlace(t *testing.T) {
	k := keys(t, line("k1", 1))
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-z]{0,3}`)
		place := [3]string{word.Draw(t, "branch"), word.Draw(t, "household"), "f" + word.Draw(t, "field")}
		plain := rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "plain")
		sealed, err := k.Seal(place[0], place[1], place[2], plain)
		if err != nil {
			t.Fatal(err)
		}
		if want := len("k1") + len(plain) + Overhead; len(sealed) != want {
			t.Fatalf("%d bytes for %d, want %d", len(sealed), len(plain), want)
		}
		got, err := k.Open(place[0], place[1], place[2], sealed)
		if err != nil || !bytes.Equal(got, plain) {
			t.Fatalf("opened %x, %v; want %x", got, err, plain)
		}
		other := [3]string{word.Draw(t, "branch"), word.Draw(t, "household"), "f" + word.Draw(t, "field")}
		if got, err := k.Open(other[0], other[1], other[2], sealed); other != place && !errors.Is(err, ErrBroken) {
			t.Fatalf("sealed for %q opened in %q: %x, %v", place, other, got, err)
		}
		i := rapid.IntRange(0, len(sealed)-1).Draw(t, "altered byte")
		sealed[i] ^= byte(rapid.IntRange(1, 255).Draw(t, "by"))
		if got, err := k.Open(place[0], place[1], place[2], sealed); !errors.Is(err, ErrBroken) && !errors.Is(err, ErrUnknownKey) {
			t.Fatalf("altered at %d, yet opened: %x, %v", i, got, err)
		}
	})
}

// "ab","c" and "a","bc" must not be the same place.
func TestPlacesDoNotRunTogether(t *testing.T) {
	k := keys(t, line("k1", 1))
	sealed, err := k.Seal("ab", "c", "text", []byte("x"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.Open("a", "bc", "text", sealed); !errors.Is(err, ErrBroken) {
		t.Fatalf("err = %v, want ErrBroken", err)
	}
}

// The layout is written down in doc.go; this second implementation of it has
// only the library's primitives in common with the first.
func TestFormatIsAsWrittenDown(t *testing.T) {
	nonce := bytes.Repeat([]byte{7}, 24)
	k := keys(t, line("k1", 1)).WithRandom(bytes.NewReader(nonce))
	sealed, err := k.Seal("north", "maple-17", "state", []byte("gave 150"))
	if err != nil {
		t.Fatal(err)
	}
	info := "\x04seal\x05north\x08maple-17"
	key, err := hkdf.Key(sha256.New, bytes.Repeat([]byte{1}, 32), []byte("hearthline"), info, 32)
	if err != nil {
		t.Fatal(err)
	}
	aead, err := chacha20poly1305.NewX(key)
	if err != nil {
		t.Fatal(err)
	}
	want := append([]byte("\x01\x02k1"), nonce...)
	want = aead.Seal(want, nonce, []byte("gave 150"), []byte("\x01\x02k1\x05north\x08maple-17\x05state"))
	if !bytes.Equal(sealed, want) {
		t.Fatalf("sealed %x, want %x", sealed, want)
	}
	// What a released version sealed must open for ever.
	const released = "01026b3107070707070707070707070707070707070707070707070759f44d66be8b783e02c7194faf04e60f671b98703c0d9d28"
	if got := hex.EncodeToString(sealed); got != released {
		t.Errorf("sealed %s, want %s", got, released)
	}
}

func TestRotation(t *testing.T) {
	before := keys(t, line("k1", 1))
	during := keys(t, "# newest first", line("k2", 2), "", line("k1", 1))
	after := keys(t, line("k2", 2))
	old, err := before.Seal("north", "maple-17", "state", []byte("old"))
	if err != nil {
		t.Fatal(err)
	}
	fresh, err := during.Seal("north", "maple-17", "state", []byte("new"))
	if err != nil {
		t.Fatal(err)
	}
	if id, err := KeyOf(fresh); id != "k2" || err != nil || during.Current() != "k2" {
		t.Errorf("sealed under %q, %v; want k2, the newest", id, err)
	}
	if got, err := during.Open("north", "maple-17", "state", old); string(got) != "old" || err != nil {
		t.Errorf("under both keys the old piece opened as %q, %v", got, err)
	}
	if got, err := after.Open("north", "maple-17", "state", fresh); string(got) != "new" || err != nil {
		t.Errorf("under the new key the new piece opened as %q, %v", got, err)
	}
	if _, err := after.Open("north", "maple-17", "state", old); !errors.Is(err, ErrUnknownKey) {
		t.Errorf("without the old key: %v, want ErrUnknownKey", err)
	}
	phones := during.PhoneKeys("north", "+12025550143")
	if len(phones) != 2 || phones[0] != after.PhoneKey("north", "+12025550143") || phones[1] != before.PhoneKey("north", "+12025550143") {
		t.Errorf("phone keys %q: want the new key's and then the old one's", phones)
	}
}

func TestPhoneKey(t *testing.T) {
	k := keys(t, line("k1", 1))
	a := k.PhoneKey("north", "+12025550143")
	if a != k.PhoneKey("north", "+12025550143") {
		t.Error("the same phone has two keys")
	}
	if a == k.PhoneKey("south", "+12025550143") || a == k.PhoneKey("north", "+12025550144") {
		t.Error("two phones, or one in two branches, have one key")
	}
	key, err := hkdf.Key(sha256.New, bytes.Repeat([]byte{1}, 32), []byte("hearthline"), "\x05phone", 32)
	if err != nil {
		t.Fatal(err)
	}
	h := hmac.New(sha256.New, key)
	h.Write([]byte("\x05north\x0c+12025550143"))
	if want := base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:16]); string(a) != want {
		t.Errorf("phone key %s, want %s", a, want)
	}
}

func TestParseKeysRefuses(t *testing.T) {
	for _, c := range []struct{ name, text, says string }{
		{"nothing", "  \n# only a remark\n", "no master key"},
		{"no colon", "c2VjcmV0", "line 1: no colon"},
		{"not base64", line("k1", 1) + "\nk2:c2Vj!mV0", "line 2: not standard base64"},
		{"too short", "k1:c2VjcmV0", `line 1: key "k1" has 6 bytes, wants 32`},
		{"no id", line("", 1), "line 1: a key id has 1 to 32"},
		{"odd id", line("K 1", 1), "line 1: a key id is of a to z"},
		{"twice", line("k1", 1) + "\n" + line("k1", 2), `line 2: key id "k1" a second time`},
	} {
		_, err := ParseKeys(c.text)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: ParseKeys = %v, want an error that says %q", c.name, err, c.says)
			continue
		}
		if strings.Contains(err.Error(), "c2Vj") {
			t.Errorf("%s: the error shows the key: %v", c.name, err)
		}
	}
}

// Keys must not leak by way of a log line or a printed configuration.
func TestKeysStayOutOfPrintAndLogs(t *testing.T) {
	k := keys(t, line("k2", 'Q'), line("k1", 'Z'))
	var log bytes.Buffer
	slog.New(slog.NewJSONHandler(&log, nil)).Info("start", "keys", k, "config", struct{ Keys *Keys }{k})
	for _, shown := range []string{fmt.Sprintf("%v|%+v|%#v|%s|%d|%x", k, k, k, k, k, k), log.String()} {
		for _, m := range k.keys {
			for _, secret := range [][]byte{m.prk, m.phone} {
				for _, form := range []string{string(secret), fmt.Sprint(secret), hex.EncodeToString(secret), base64.StdEncoding.EncodeToString(secret)} {
					if strings.Contains(shown, strings.Trim(form, "[]")) {
						t.Fatalf("a key is in %q", shown)
					}
				}
			}
		}
	}
	if got := fmt.Sprintf("%#v", k); got != "keys k2, k1" {
		t.Errorf("printed as %q", got)
	}
}

func TestSeededKeysRunTwiceAlike(t *testing.T) {
	run := func() []byte {
		k, err := NewFrom(rand.NewChaCha8([32]byte{5}))
		if err != nil {
			t.Fatal(err)
		}
		var all []byte
		for range 3 {
			s, err := k.Seal("north", "", "in", []byte("gave 150"))
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, s...)
		}
		return append(all, k.PhoneKey("north", "+12025550143")...)
	}
	if a, b := run(), run(); !bytes.Equal(a, b) {
		t.Error("one seed, two outcomes")
	}
	a, errA := NewEphemeral()
	b, errB := NewEphemeral()
	if errA != nil || errB != nil || a.PhoneKey("north", "+12025550143") == b.PhoneKey("north", "+12025550143") {
		t.Errorf("two ephemeral keys are one (%v, %v)", errA, errB)
	}
}

func TestNoNonceNoSeal(t *testing.T) {
	k := keys(t, line("k1", 1)).WithRandom(bytes.NewReader(make([]byte, 23)))
	if got, err := k.Seal("north", "maple-17", "state", []byte("x")); err == nil {
		t.Fatalf("sealed %x without a whole nonce", got)
	}
}

func FuzzOpen(f *testing.F) {
	// A fixed nonce: the fuzzer's processes must agree on what the good piece is.
	k := keys(f, line("k1", 1)).WithRandom(bytes.NewReader(make([]byte, 24)))
	good, err := k.Seal("north", "maple-17", "state", []byte("gave 150"))
	if err != nil {
		f.Fatal(err)
	}
	for _, seed := range [][]byte{nil, {1}, {1, 255}, {2, 2, 'k', '1'}, good, good[:len(good)-1], good[:30]} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, sealed []byte) {
		got, err := k.Open("north", "maple-17", "state", sealed)
		if err == nil && !bytes.Equal(sealed, good) {
			t.Fatalf("%x opened as %q: nobody sealed it", sealed, got)
		}
		if err != nil && !errors.Is(err, ErrBroken) && !errors.Is(err, ErrUnknownKey) {
			t.Fatalf("err = %v, want one of ours", err)
		}
	})
}

func BenchmarkSealKilobyte(b *testing.B) {
	k, plain := keys(b, line("k1", 1)), make([]byte, 1024)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := k.Seal("north", "maple-17", "state", plain); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOpenKilobyte(b *testing.B) {
	k := keys(b, line("k1", 1))
	sealed, err := k.Seal("north", "maple-17", "state", make([]byte, 1024))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := k.Open("north", "maple-17", "state", sealed); err != nil {
			b.Fatal(err)
		}
	}
}
