package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"mime"
	"path"

	"github.com/gofiber/fiber/v2"
)

//go:embed static
var staticFiles embed.FS

// asset is one embedded file with the hash that its address carries, so that
// browsers may keep it for ever and still get a new one with a new version.
type asset struct {
	body []byte
	kind string
	hash string
}

func loadAssets() map[string]asset {
	m := map[string]asset{}
	entries, err := staticFiles.ReadDir("static")
	if err != nil {
		panic("web: embedded files: " + err.Error())
	}
	for _, e := range entries {
		b, err := staticFiles.ReadFile("static/" + e.Name())
		if err != nil {
			panic("web: embedded files: " + err.Error())
		}
		sum := sha256.Sum256(b)
		m[e.Name()] = asset{b, mime.TypeByExtension(path.Ext(e.Name())), hex.EncodeToString(sum[:6])}
	}
	return m
}

func (s *Site) href(name string) string { return "/static/" + name + "?v=" + s.assets[name].hash }

func (s *Site) static(c *fiber.Ctx) error {
	a, ok := s.assets[c.Params("name")]
	if !ok {
		return fiber.ErrNotFound
	}
	if c.Query("v") == a.hash {
		c.Set(fiber.HeaderCacheControl, "public, max-age=31536000, immutable")
	}
	c.Set(fiber.HeaderContentType, a.kind)
	return c.Send(a.body)
}
