//go:build crashpoints

package crash

import (
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
)

var (
	name  string
	after atomic.Int64
)

// HEARTHLINE_CRASH=name or name:n kills the process the n-th time it comes to
// that point (the first, if n is left out).
func init() {
	want, n, counted := strings.Cut(os.Getenv("HEARTHLINE_CRASH"), ":")
	name = want
	after.Store(1)
	if counted {
		if k, err := strconv.ParseInt(n, 10, 64); err == nil && k > 0 {
			after.Store(k)
		}
	}
}

// Here kills the process with SIGKILL when its turn has come: nothing is
// flushed, no deferred call runs.
func Here(point string) {
	if point != name {
		return
	}
	if after.Add(-1) == 0 {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL) // nothing to be done if the kill itself fails
		select {}
	}
}
