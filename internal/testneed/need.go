// Package testneed answers, for tests only, whether this machine has what a
// test needs: a program on the PATH, the shared open data, or the independent
// reference libraries of testdata/node.
//
// What is missing skips the test with the reason. Under HEARTHLINE_NO_SKIP=1,
// which the full run sets, what is missing fails it: a full run that quietly
// tested less than everything would be worse than a red one.
package testneed

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// NoSkip names the environment variable under which a missing need is a failure.
const NoSkip = "HEARTHLINE_NO_SKIP"

// Data returns the folder of the shared open data: $HEARTHLINE_DATA, or
// ../shared/data beside the repository.
func Data(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("HEARTHLINE_DATA")
	if dir == "" {
		dir = filepath.Join(Root(t), "..", "shared", "data")
	}
	if _, err := os.Stat(filepath.Join(dir, "INVENTORY.md")); err != nil {
		missing(t, "the shared open data is not here (HEARTHLINE_DATA names its folder): "+err.Error())
	}
	return dir
}

// Command returns the path of the first of the named programs that is on the PATH.
func Command(t testing.TB, names ...string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	missing(t, names[0]+" is not on the PATH; install it to run this test")
	return ""
}

// Node returns the folder testdata/node, in which the named npm package is
// installed ("npm ci" there installs all of them), for a node that is on the PATH.
func Node(t testing.TB, pkg string) string {
	t.Helper()
	Command(t, "node")
	dir := filepath.Join(Root(t), "testdata", "node")
	if _, err := os.Stat(filepath.Join(dir, "node_modules", pkg)); err != nil {
		missing(t, "the npm package "+pkg+" is not installed; run npm ci in testdata/node")
	}
	return dir
}

// Slow marks a test that is run once without the race detector: it is skipped,
// by design and even in the full run, where HEARTHLINE_RACE=1 says that this is
// the run with the detector.
func Slow(t testing.TB) {
	t.Helper()
	if os.Getenv("HEARTHLINE_RACE") == "1" {
		t.Skip("runs in the full run's second pass, without the race detector")
	}
	if testing.Short() {
		t.Skip("slow; left out under -short")
	}
}

// Root returns the repository's root: the nearest folder above with a go.mod.
func Root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatalf("working folder: %v", err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test's folder")
		}
		dir = up
	}
}

func missing(t testing.TB, why string) {
	t.Helper()
	if os.Getenv(NoSkip) == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
}
