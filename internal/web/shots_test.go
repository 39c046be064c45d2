package web

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"

	"hearthline/internal/web/browsertest"
)

// TestScreenshots writes a picture of every page to the folder that
// HEARTHLINE_SHOTS names, for people to look at.
func TestScreenshots(t *testing.T) {
	dir := os.Getenv("HEARTHLINE_SHOTS")
	if dir == "" {
		t.Skip("HEARTHLINE_SHOTS names no folder for the pictures")
	}
	cfg, _, _ := demoConfig(newDesk())
	base := serve(t, newSite(t, cfg))
	ctx := browsertest.Start(t)
	for _, p := range everyPage {
		if err := chromedp.Do(ctx, chromedp.Navigate(base+p.path)); err != nil {
			t.Fatal(err)
		}
		for name, v := range views {
			if err := browsertest.Screenshot(ctx, filepath.Join(dir, p.name+"-"+name+".png"), v.width, v.height, v.dark); err != nil {
				t.Fatal(err)
			}
		}
	}
}
