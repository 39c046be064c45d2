// Package browsertest starts a real headless browser for tests. Only tests
// import it.
package browsertest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"hearthline/internal/testneed"
)

// limit is how long one test's browser lives at most.
const limit = 2 * time.Minute

// Start starts a browser with a profile of its own and opens a page in it. The
// test is skipped, with the reason, where no browser is installed.
func Start(t testing.TB) context.Context {
	t.Helper()
	path := testneed.Command(t, "chromium", "chromium-browser", "google-chrome")
	opts := []chromedp.ExecAllocatorOption{
		chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()),
		chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		// The tests' machines share little memory between processes.
		chromedp.Flag("disable-dev-shm-usage", true),
	}
	alive, cancel := context.WithTimeout(context.Background(), limit)
	browser, stop := chromedp.NewExecAllocator(alive, opts...)
	ctx, closePage := chromedp.NewContext(browser)
	t.Cleanup(func() { closePage(); stop(); cancel() })
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("browser %s does not start: %v", path, err)
	}
	return ctx
}

// Another opens a page of another person in a browser that Start started: it
// shares no cookies with any other.
func Another(t testing.TB, browser context.Context) context.Context {
	t.Helper()
	ctx, closePage := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(closePage)
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("another page: %v", err)
	}
	return ctx
}

// View sets the size of the page, in CSS pixels, and whether the person prefers dark.
func View(ctx context.Context, width, height int64, dark bool) error {
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, height)); err != nil {
		return fmt.Errorf("view %d x %d: %w", width, height, err)
	}
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, media); err != nil {
		return fmt.Errorf("colour scheme %s: %w", scheme, err)
	}
	return nil
}

// Screenshot writes the whole page as PNG, as it is at that width and scheme.
func Screenshot(ctx context.Context, path string, width, height int64, dark bool) error {
	if err := View(ctx, width, height, dark); err != nil {
		return err
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		return fmt.Errorf("screenshot %s: %w", path, err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, png, 0o644)
}
