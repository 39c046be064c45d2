package web

import (
	"context"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"hearthline/internal/web/browsertest"
)

// browserScreenshots takes a picture of every page in every view, into the
// folder that HEARTHLINE_SHOTS names, for people to look at; where it names
// none, of one page only, to know that it works.
func browserScreenshots(t *testing.T, browser context.Context) {
	dir, pages := os.Getenv("HEARTHLINE_SHOTS"), everyPage
	if dir == "" {
		dir, pages = t.TempDir(), everyPage[1:2]
	}
	cfg, _, _ := demoConfig(newDesk())
	base := serve(t, newSite(t, cfg))
	p := visitor{t, browsertest.Another(t, browser)}
	for _, page := range pages {
		p.goTo(base + page.path)
		for name, v := range views {
			file := filepath.Join(dir, page.name+"-"+name+".png")
			if err := browsertest.Screenshot(p.ctx, file, v.width, v.height, v.dark); err != nil {
				t.Fatal(err)
			}
			f, err := os.Open(file)
			if err != nil {
				t.Fatal(err)
			}
			size, err := png.DecodeConfig(f)
			if cerr := f.Close(); err != nil || cerr != nil {
				t.Fatalf("%s: %v, %v", file, err, cerr)
			}
			if size.Width != int(v.width) || size.Height < int(v.height) {
				t.Errorf("%s is %d x %d, want %d wide and at least %d high", file, size.Width, size.Height, v.width, v.height)
			}
		}
	}
}
