package web

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"strconv"
	"testing"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/valyala/fasthttp"

	"hearthline/internal/carrier"
)

// newFuzzRequest is a POST to the hook as the server would hand it over.
func newFuzzRequest(id, seconds, signature string, body []byte) *fasthttp.RequestCtx {
	ctx := &fasthttp.RequestCtx{}
	ctx.Request.Header.SetMethod(http.MethodPost)
	ctx.Request.Header.SetContentType("application/json")
	ctx.Request.Header.Set(carrier.HeaderID, id)
	ctx.Request.Header.Set(carrier.HeaderTimestamp, seconds)
	ctx.Request.Header.Set(carrier.HeaderSignature, signature)
	ctx.Request.SetBody(body)
	return ctx
}

// BenchmarkHook compares the hook, with a store that does nothing, with a bare
// fiber handler, over the same loopback and client.
func BenchmarkHook(b *testing.B) {
	for _, way := range []string{"bare", "hook"} {
		b.Run(way, func(b *testing.B) {
			app := fiber.New(fiber.Config{Immutable: true, DisableStartupMessage: true})
			app.Post("/bare", func(c *fiber.Ctx) error { return c.JSON(fiber.Map{"ok": "stored"}) })
			MountHook(app, HookConfig{Secrets: []carrier.Secret{hookSecret(b)}, Now: func() time.Time { return hookNow },
				Accept: func(context.Context, carrier.Incoming) (bool, error) { return true, nil }})
			url := serveHook(b, app) + "/" + way
			client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}}
			body := []byte(hookText)
			signature := carrier.Sign([]carrier.Secret{hookSecret(b)}, "msg_1", hookNow, body)
			b.ReportAllocs()
			b.RunParallel(func(pb *testing.PB) {
				for pb.Next() {
					r, err := http.NewRequest(http.MethodPost, url, bytes.NewReader(body))
					if err != nil {
						b.Error(err)
						return
					}
					r.Header.Set("Content-Type", "application/json")
					r.Header.Set(carrier.HeaderID, "msg_1")
					r.Header.Set(carrier.HeaderTimestamp, strconv.FormatInt(hookNow.Unix(), 10))
					r.Header.Set(carrier.HeaderSignature, signature)
					answer, err := client.Do(r)
					if err != nil {
						b.Error(err)
						return
					}
					io.Copy(io.Discard, answer.Body)
					answer.Body.Close()
					if answer.StatusCode != 200 {
						b.Errorf("answered %d", answer.StatusCode)
						return
					}
				}
			})
		})
	}
}
