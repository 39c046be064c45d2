package protocol

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// signed is the shipped tree with every file signed as it is.
func signed(t *testing.T, until string, change func(files map[string]string)) *Set {
	t.Helper()
	s := shipped(t)
	var b strings.Builder
	b.WriteString("files:\n")
	for _, name := range sortedKeys(s.hashes) {
		if name != signoffPath {
			fmt.Fprintf(&b, "  %s: {sha256: %s, name: invented, role: registered nurse, licence: invented-1, signed: 2026-05-01, until: %s}\n", name, s.hashes[name], until)
		}
	}
	fsys, _ := tree(t, func(files map[string]string) {
		files[signoffPath] = b.String()
		change(files)
	})
	set, err := Load(fsys)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

func TestSignedHoldsWhatWasSigned(t *testing.T) {
	whole := func(map[string]string) {}
	day := time.Date(2026, 6, 30, 23, 0, 0, 0, time.UTC)
	if err := signed(t, "2026-06-30", whole).Signed(day); err != nil {
		t.Errorf("on its last day: %v", err)
	}
	err := signed(t, "2026-06-30", whole).Signed(day.Add(2 * time.Hour))
	if err == nil || !strings.Contains(err.Error(), "protocols/fever.yaml: signature was valid until 2026-06-30") {
		t.Errorf("a day later: %v", err)
	}
	err = signed(t, "2027-06-30", func(f map[string]string) { f["protocols/fever.yaml"] += "# one more thought\n" }).Signed(day)
	if err == nil || err.Error() != "protocols/fever.yaml: changed since it was signed on 2026-05-01" {
		t.Errorf("one file changed: %v", err)
	}
	err = signed(t, "2027-06-30", func(f map[string]string) {
		f[signoffPath] = strings.Replace(f[signoffPath], "licence: invented-1", `licence: ""`, 1)
	}).Signed(day)
	if err == nil || !strings.Contains(err.Error(), "advice.yaml: unsigned") {
		t.Errorf("no licence number: %v", err)
	}
}

func TestVersionIsOfTheFilesAndNotOfTheirSignatures(t *testing.T) {
	a := shipped(t)
	if b := signed(t, "2027-06-30", func(map[string]string) {}); b.Version() != a.Version() {
		t.Errorf("signing changed the version from %s to %s", a.Version(), b.Version())
	}
	fsys, _ := tree(t, func(f map[string]string) { f["protocols/fever.yaml"] += "# one more thought\n" })
	c, err := Load(fsys)
	if err != nil {
		t.Fatal(err)
	}
	if c.Version() == a.Version() {
		t.Error("a changed file has the same version")
	}
}
