package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os/exec"
	"path"
	"slices"
	"strings"
	"testing"

	"hearthline/internal/testneed"
)

// rooms lists the rooms from the highest to the lowest; a room imports only
// from lower ones. Rooms on one line stand side by side.
var rooms = [][]string{
	{"web"}, {"sim"}, {"fhir"}, {"engine"}, {"access"}, {"store"}, {"carrier"}, {"archive"}, {"seal"},
	{"household"}, {"protocol"}, {"ledger"}, {"reply"}, {"regimen"}, {"oncall"}, {"journal"}, {"crash"},
}

// pure rooms take the time as an argument and do no I/O.
var pure = []string{"household", "protocol", "ledger", "reply", "regimen", "oncall", "journal"}

// unpure are packages that a pure room has no use for.
var unpure = []string{"net", "net/http", "os", "os/exec", "log", "log/slog", "math/rand", "math/rand/v2", "crypto/rand", "context", "sync/atomic", "syscall"}

func TestRoomsImportDownwardsOnly(t *testing.T) {
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports,Name", "./internal/...")
	cmd.Dir = testneed.Root(t)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	seen := 0
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p struct {
			ImportPath, Name string
			Imports          []string
		}
		if err := d.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		room := roomOf(p.ImportPath)
		if room == "testneed" {
			continue
		}
		seen++
		from := level(room)
		if from < 0 {
			t.Errorf("%s is in no room of the plan", p.ImportPath)
			continue
		}
		for _, imp := range p.Imports {
			if slices.Contains(pure, room) && p.Name != "main" && slices.Contains(unpure, imp) {
				t.Errorf("%s is a pure room and imports %s", p.ImportPath, imp)
			}
			if !strings.HasPrefix(imp, "hearthline/internal/") {
				continue
			}
			to := roomOf(imp)
			if to == "testneed" && strings.HasSuffix(path.Base(p.ImportPath), "test") {
				continue // packages that only tests use
			}
			if to != room && level(to) <= from {
				t.Errorf("%s imports %s: the arrow points up", p.ImportPath, imp)
			}
		}
	}
	if seen < 10 {
		t.Fatalf("go list named %d packages; the test looked at too little", seen)
	}
}

func roomOf(importPath string) string {
	rest := strings.TrimPrefix(importPath, "hearthline/internal/")
	room, _, _ := strings.Cut(rest, "/")
	return room
}

func level(room string) int {
	return slices.IndexFunc(rooms, func(names []string) bool { return slices.Contains(names, room) })
}
