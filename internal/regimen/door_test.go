package regimen

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"hearthline/internal/testneed"
)

// The sheet prints on one page, also on a day with much to do. A browser lays
// it out; its PDF says how many pages that took.
func TestDoorSheetIsOnePage(t *testing.T) {
	testneed.Slow(t)
	browser := testneed.Command(t, "chromium", "chromium-browser", "google-chrome")
	for name, pl := range map[string]*Plan{"maple": maple(t), "heavy": compile(t, minimal("America/New_York", "07:00", heavy))} {
		for _, lang := range []string{"en", "es"} {
			dir := t.TempDir()
			page, pdf := filepath.Join(dir, "door.html"), filepath.Join(dir, "door.pdf")
			var b bytes.Buffer
			if err := pl.WriteDoorSheet(&b, "2026-03-06", lang, loadWords(t, lang)); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(page, b.Bytes(), 0o600); err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(browser, "--headless", "--no-sandbox", "--disable-gpu", "--user-data-dir="+filepath.Join(dir, "profile"), "--print-to-pdf="+pdf, page)
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			got, err := os.ReadFile(pdf)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Contains(got, []byte("/Count 1")) {
				t.Errorf("%s in %s takes more than one page", name, lang)
			}
		}
	}
}
