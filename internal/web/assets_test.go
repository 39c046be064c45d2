package web

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"
)

// TestVendoredFilesAreAsPublished: the files are those of the npm packages
// htmx.org 2.0.11 (dist/htmx.min.js) and htmx-ext-sse 2.2.4 (dist/sse.min.js),
// byte for byte; a new version is a decision, with its licence line.
func TestVendoredFilesAreAsPublished(t *testing.T) {
	files := loadAssets()
	for name, want := range map[string]string{
		"htmx.min.js":     "d6fdc75f204e6bdefa99b69bf1e6d4ac69b8a364f77929f45c13476b4000f717",
		"htmx-sse.min.js": "98a46496de0c3605fbffdce9167ba427bdd9553184f83f149c261891a92c0136",
	} {
		sum := sha256.Sum256(files[name].body)
		if got := hex.EncodeToString(sum[:]); got != want {
			t.Errorf("%s has the hash %s, want %s", name, got, want)
		}
		if !strings.Contains(string(files["NOTICE.txt"].body), name) {
			t.Errorf("NOTICE.txt does not name %s", name)
		}
	}
}

// TestNothingIsLoadedFromElsewhere: no page, style or script of ours names another host.
func TestNothingIsLoadedFromElsewhere(t *testing.T) {
	for _, name := range []string{"style.css", "live.js", "icon.svg"} {
		body := strings.ReplaceAll(string(loadAssets()[name].body), "http://www.w3.org/2000/svg", "")
		for _, bad := range []string{"http:", "https:", "//www", "@import"} {
			if strings.Contains(body, bad) {
				t.Errorf("%s has %q", name, bad)
			}
		}
	}
}
