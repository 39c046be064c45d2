package redisstore

import (
	"bufio"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"hearthline/internal/store"
	"hearthline/internal/testneed"
)

// parentDir has this test binary be the parent of a server in the folder named,
// say so, and wait to be killed.
const parentDir = "REDISSTORE_TEST_PARENT"

// parent is that process; it returns only if something goes wrong.
func parent(dir string) error {
	c, err := start(dir)
	if err != nil {
		return err
	}
	s, err := Open(context.Background(), Options{Redis: c.Options()})
	if err != nil {
		return err
	}
	if _, err := s.Branch("north").Accept(context.Background(), store.In{CarrierID: "in1", Blob: []byte("done")}, noon); err != nil {
		return err
	}
	if _, err := os.Stdout.WriteString("up\n"); err != nil {
		return err
	}
	<-c.Exited()
	return errors.New("the server ended first")
}

// A run that was killed leaves its data, and a folder that the next can use.
func TestChildDiesWithItsParent(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("only Linux ends a child with its parent")
	}
	testneed.Command(t, "redis-server")
	dir := t.TempDir()
	for round := range 3 {
		parent := exec.Command(os.Args[0])
		parent.Env = append(os.Environ(), parentDir+"="+dir)
		out, err := parent.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := parent.Start(); err != nil {
			t.Fatal(err)
		}
		up := false
		for lines := bufio.NewScanner(out); !up && lines.Scan(); {
			up = lines.Text() == "up"
		}
		if err := parent.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = parent.Wait() // it was killed
		if !up {
			t.Fatalf("round %d: the parent did not get its server up", round)
		}
		// The next run waits until the folder is free, which it is once the server is gone.
		c, err := start(dir)
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		p, err := opened(t, c).Branch("north").Pulse(t.Context())
		if err != nil || p.Inbox != 1 {
			t.Fatalf("round %d: %d items in the inbox, %v; want the one that was acknowledged", round, p.Inbox, err)
		}
		if err := c.Stop(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestChildStartsAgainOnItsData(t *testing.T) {
	testneed.Command(t, "redis-server")
	// A name with a space, a quote and a backslash; and too long for a socket.
	for _, name := range []string{`a "folder" \ of ours`, strings.Repeat("long", 30)} {
		dir := filepath.Join(t.TempDir(), name)
		for i := range int64(3) {
			c, err := start(dir)
			if err != nil {
				t.Fatal(err)
			}
			s := opened(t, c)
			if err := s.Branch("north").Commit(t.Context(), store.Change{Households: []store.HouseholdChange{{ID: "maple-1", Was: i, State: []byte("s")}}}); err != nil {
				t.Fatal(err)
			}
			if info, err := os.Stat(c.Options().Addr); err != nil || info.Mode().Perm() != 0o700 {
				t.Errorf("the socket: %v, %v; wants mode 700", info, err)
			}
			if err := c.Stop(); err != nil {
				t.Fatal(err)
			}
			if err := c.Stop(); err != nil {
				t.Errorf("a second Stop: %v", err)
			}
			if _, err := os.Stat(c.Options().Addr); !errors.Is(err, os.ErrNotExist) {
				t.Errorf("the socket is left: %v", err)
			}
		}
	}
}

func TestOneProcessAFolder(t *testing.T) {
	dir := t.TempDir()
	c := own(t, dir)
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := lockFile(f); !errors.Is(err, ErrInUse) {
		t.Fatalf("the folder of a running server: %v, want %v", err, ErrInUse)
	}
	// Even without its parent's lock the server itself keeps the folder.
	if err := c.lock.Close(); err != nil {
		t.Fatal(err)
	}
	if err := lockFile(f); !errors.Is(err, ErrInUse) {
		t.Fatalf("the folder of a server whose parent is gone: %v, want %v", err, ErrInUse)
	}
	c.Kill()
	if err := lockFile(f); err != nil {
		t.Fatalf("the folder of a server that is gone: %v", err)
	}
	c.lock = f // for Stop to close, in place of the one that was closed above
}

func TestStartChildRefuses(t *testing.T) {
	t.Run("no server", func(t *testing.T) {
		t.Setenv("PATH", t.TempDir())
		if _, err := start(t.TempDir()); !errors.Is(err, ErrNoServer) || !strings.Contains(err.Error(), "install") {
			t.Errorf("err = %v, want %v", err, ErrNoServer)
		}
	})
	t.Run("a file in the folder's place", func(t *testing.T) {
		testneed.Command(t, "redis-server")
		file := filepath.Join(t.TempDir(), "file")
		if err := os.WriteFile(file, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := start(file); err == nil {
			t.Error("started")
		}
	})
	t.Run("a server that ends at once", func(t *testing.T) {
		bin := t.TempDir()
		if err := os.WriteFile(filepath.Join(bin, "redis-server"), []byte("#!/bin/sh\necho no such luck\nexit 3\n"), 0o700); err != nil {
			t.Fatal(err)
		}
		t.Setenv("PATH", bin+":"+os.Getenv("PATH"))
		dir := t.TempDir()
		_, err := start(dir)
		var status *exec.ExitError
		if !errors.As(err, &status) || status.ExitCode() != 3 || !strings.Contains(err.Error(), "no such luck") {
			t.Errorf("err = %v; wants its exit status and what it said", err)
		}
		f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = f.Close() }() // only asked of
		if err := lockFile(f); err != nil {
			t.Errorf("the folder is not given free: %v", err)
		}
	})
}

// The password is in no file of the folder and in no argument of the process.
func TestChildKeepsItsPassword(t *testing.T) {
	dir := t.TempDir()
	c := own(t, dir)
	password := c.Options().Password
	if len(password) < 20 {
		t.Fatalf("a password of %d characters", len(password))
	}
	o := c.Options()
	o.Password = ""
	if _, err := Open(t.Context(), Options{Redis: o}); err == nil {
		t.Error("opened without the password")
	}
	var files []string
	if runtime.GOOS == "linux" {
		files = append(files, filepath.Join("/proc", strconv.Itoa(c.Pid()), "cmdline"))
	}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			files = append(files, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(text), password) {
			t.Errorf("the password is in %s", file)
		}
	}
}
