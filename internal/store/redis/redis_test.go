package redisstore

import (
	"context"
	"os"
	"sync"
	"testing"
	"time"

	"hearthline/internal/store"
	"hearthline/internal/store/storetest"
	"hearthline/internal/testneed"
)

var shared struct {
	once  sync.Once
	dir   string
	child *Child
	err   error
}

func TestMain(m *testing.M) {
	if dir := os.Getenv(parentDir); dir != "" {
		println(parent(dir).Error())
		os.Exit(1)
	}
	code := m.Run()
	if shared.child != nil {
		if err := shared.child.Stop(); err != nil {
			println(err.Error())
			code = 1
		}
		_ = os.RemoveAll(shared.dir) // the system's folder for such things
	}
	os.Exit(code)
}

// server is one redis-server for all tests that do not kill theirs.
func server(t testing.TB) *Child {
	t.Helper()
	testneed.Command(t, "redis-server")
	shared.once.Do(func() {
		if shared.dir, shared.err = os.MkdirTemp("", "hearthline-test-"); shared.err == nil {
			shared.child, shared.err = start(shared.dir)
		}
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.child
}

// start starts a server that must be up within a minute.
func start(dir string) (*Child, error) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	return StartChild(ctx, dir)
}

// own starts a server for one test alone.
func own(t testing.TB, dir string) *Child {
	t.Helper()
	testneed.Command(t, "redis-server")
	c, err := start(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Stop(); err != nil {
			t.Error(err)
		}
	})
	return c
}

func opened(t testing.TB, c *Child) *Store {
	t.Helper()
	s, err := Open(context.Background(), Options{Redis: c.Options()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func TestConformance(t *testing.T) {
	storetest.Run(t, func(t *testing.T) store.Store { return opened(t, server(t)) })
}
