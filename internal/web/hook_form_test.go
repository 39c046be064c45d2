package web

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gofiber/fiber/v2"

	"hearthline/internal/carrier"
	"hearthline/internal/testneed"
)

// A form gateway posts to the same hook, by its configuration alone.
func TestHookTakesForms(t *testing.T) {
	file := filepath.Join(testneed.Root(t), "testdata", "carrier", "form-two.yaml")
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	form, err := carrier.ParseForm(file, data, func(string) string { return "sample-two-secret-for-tests" }, nil)
	if err != nil {
		t.Fatal(err)
	}
	b := &hookInbox{}
	app := fiber.New(fiber.Config{Immutable: true})
	MountHook(app, HookConfig{Reader: form, Now: func() time.Time { return time.Unix(1777763400, 0) }, Accept: b.accept, Note: b.note})
	post := func(body, signature, contentType string) (int, string) {
		r := httptest.NewRequest(http.MethodPost, "/hook", strings.NewReader(body))
		r.Header.Set("Content-Type", contentType)
		r.Header.Set("X-Check-Time", "1777763400")
		r.Header.Set("X-Check", signature)
		answer, err := app.Test(r, -1)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		said, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return answer.StatusCode, string(said)
	}
	// Signatures computed with Python's hmac module over "1777763400\n" and the body.
	const form2, delivered = "application/x-www-form-urlencoded", "tag=maple-17.5.1&state=D"
	const signed = "mac=232bc6c184e0c1940e73f9f8d4b026f76f6b40958bcf85efb34979602f152eb1"
	for _, c := range []struct {
		name, body, signature, contentType string
		status                             int
		says                               string
	}{
		{"a receipt", delivered, signed, form2, 200, ""},
		{"again", delivered, signed, form2 + "; charset=utf-8", 200, ""},
		{"no news", "tag=maple-17.5.1&state=Q", "mac=c787b5daa003a05b3a7af657f71cb61ff82e4c092112830b756983dfe385a727", form2, 200, ""},
		{"changed", delivered + "x", signed, form2, 401, "does not match"},
		{"as JSON", delivered, signed, "application/json", 415, "x-www-form-urlencoded"},
	} {
		status, said := post(c.body, c.signature, c.contentType)
		if status != c.status || !strings.Contains(said, c.says) || status == 200 && said != "" {
			t.Errorf("%s: %d %q, want %d %q", c.name, status, said, c.status, c.says)
		}
	}
	if len(b.items) != 1 || b.items[0].Receipt.Status != carrier.StatusDelivered {
		t.Errorf("stored %+v, want one receipt", b.items)
	}
	if got := strings.Join(b.notes, " "); got != "stored seen_before no_news untrusted refused" {
		t.Errorf("noted %s", got)
	}
}
