package redisstore

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/redis/go-redis/v9"
)

var (
	// ErrNoServer: there is no redis-server to start.
	ErrNoServer = errors.New("no redis-server on the PATH: install Redis 7.0 or later (Debian, Ubuntu: apt-get install redis-server) or name a running one by its URL")
	// ErrInUse: another process has the data folder.
	ErrInUse = errors.New("another process is using this data folder")
)

const (
	// lockPatience is how long a start waits for the data folder: the server of
	// a killed run may need a moment to die after it.
	lockPatience = 10 * time.Second
	// stopPatience is how long a server may take to stop when asked to.
	stopPatience = 10 * time.Second
	// maxSocketPath is how long the name of a unix socket may be on any system
	// that has them (sun_path: 104 bytes on BSD and macOS, 108 on Linux).
	maxSocketPath = 103
	// lastWords is how much of what the server printed is kept for an error.
	lastWords = 2 << 10
	pollEvery = 5 * time.Millisecond
)

// Child is a redis-server that runs as a child of this process, on a unix
// socket and nowhere else, with its data in one folder.
type Child struct {
	cmd       *exec.Cmd
	options   *redis.Options
	lock      *os.File
	socketDir string // a folder of its own for the socket, if the data folder's name was too long
	said      *tail
	exited    chan struct{}
	waitErr   error // valid once exited is closed
	stop      sync.Once
	stopErr   error
}

// StartChild starts a redis-server found on the PATH with its data in dir,
// which is made if need be, and returns once it answers, with what an earlier
// run left there, be it that it was killed. Every write is on the disk before
// it is acknowledged. One process at a time has a folder: ErrInUse. Without a
// redis-server: ErrNoServer. ctx bounds the start only; the child runs until
// Stop, and on Linux dies with this process however that ends.
func StartChild(ctx context.Context, dir string) (*Child, error) {
	quiet()
	server, err := exec.LookPath("redis-server")
	if err != nil {
		return nil, ErrNoServer
	}
	dir, err = filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("redis-server: data folder: %w", err)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("redis-server: data folder: %w", err)
	}
	c := &Child{said: &tail{}, exited: make(chan struct{})}
	if c.lock, err = lockFolder(ctx, dir); err != nil {
		return nil, fmt.Errorf("redis-server: data folder %s: %w", dir, err)
	}
	if err := c.start(server, dir); err != nil {
		return nil, errors.Join(fmt.Errorf("redis-server: %w", err), c.cleanUp())
	}
	if err := c.await(ctx); err != nil {
		c.Kill()
		return nil, errors.Join(fmt.Errorf("redis-server: %w; it said last:\n%s", err, c.said), c.cleanUp())
	}
	return c, nil
}

// lockFolder takes the folder for this process and the child, which inherits
// the lock: a folder is free only when both are gone.
func lockFolder(ctx context.Context, dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	patience, done := context.WithTimeout(ctx, lockPatience)
	defer done()
	for {
		err := lockFile(f)
		if err == nil {
			return f, nil
		}
		if !errors.Is(err, ErrInUse) {
			return nil, errors.Join(err, f.Close())
		}
		select {
		case <-patience.Done():
			return nil, errors.Join(err, ctx.Err(), f.Close())
		case <-time.After(pollEvery):
		}
	}
}

func (c *Child) start(server, dir string) error {
	socket := filepath.Join(dir, "redis.sock")
	if len(socket) > maxSocketPath {
		var err error
		if c.socketDir, err = os.MkdirTemp("", "hearthline-"); err != nil {
			return err
		}
		socket = filepath.Join(c.socketDir, "redis.sock")
	}
	password := rand.Text() // of this run only, and on no disk: the configuration goes in by stdin
	conf, err := childConfig(dir, socket, password)
	if err != nil {
		return err
	}
	c.options = &redis.Options{Network: "unix", Addr: socket, Password: password}
	c.cmd = exec.Command(server, "-")
	c.cmd.Dir = dir
	c.cmd.Stdin = strings.NewReader(conf)
	c.cmd.Stdout, c.cmd.Stderr = c.said, c.said
	c.cmd.ExtraFiles = []*os.File{c.lock}
	c.cmd.SysProcAttr = dieWithParent()
	c.cmd.WaitDelay = time.Second // a rewrite of the append-only file holds the server's output a little longer

	// The kernel sends the death signal when the THREAD that started the child
	// ends (prctl(2), PR_SET_PDEATHSIG), so one thread stays with it.
	started := make(chan error)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := c.cmd.Start()
		started <- err
		if err != nil {
			return
		}
		c.waitErr = c.cmd.Wait()
		close(c.exited)
	}()
	return <-started
}

// childConfig is the child's whole configuration.
func childConfig(dir, socket, password string) (string, error) {
	var conf strings.Builder
	for _, line := range [][2]string{
		{"port", "0"}, // no network at all
		{"unixsocket", socket},
		{"unixsocketperm", "700"},
		{"requirepass", password},
		{"dir", dir},
		{"appendonly", "yes"},
		{"appendfsync", "always"},
		{"no-appendfsync-on-rewrite", "no"},
		{"maxmemory-policy", "noeviction"},
		{"save", ""}, // the append-only file is the record; snapshots beside it would cost memory for nothing
		{"daemonize", "no"},
		{"logfile", ""},
	} {
		value := line[1]
		if strings.ContainsFunc(value, func(r rune) bool { return r < ' ' || r == 0x7f }) {
			return "", fmt.Errorf("%s: a control character in %q", line[0], value)
		}
		value = strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(value)
		fmt.Fprintf(&conf, "%s \"%s\"\n", line[0], value)
	}
	return conf.String(), nil
}

// await returns once the server answers and has read its data.
func (c *Child) await(ctx context.Context) error {
	client := redis.NewClient(&redis.Options{Network: c.options.Network, Addr: c.options.Addr, Password: c.options.Password,
		MaxRetries: -1, DialerRetries: 1, ContextTimeoutEnabled: true, PoolSize: 1})
	defer func() { _ = client.Close() }() // nothing was written by it
	for {
		// The client is asked only once there is a socket: after a failed
		// connection its pool waits a whole second before it tries again.
		conn, err := new(net.Dialer).DialContext(ctx, c.options.Network, c.options.Addr)
		if err == nil {
			err = errors.Join(conn.Close(), client.Ping(ctx).Err())
		}
		if err == nil {
			return nil
		}
		select {
		case <-c.exited:
			return fmt.Errorf("it ended at once: %w", errors.Join(c.waitErr, err))
		case <-ctx.Done():
			return fmt.Errorf("it does not answer: %w", errors.Join(ctx.Err(), err))
		case <-time.After(pollEvery):
		}
	}
}

// Options says how to reach the server. The password in it is of this run only.
func (c *Child) Options() *redis.Options {
	o := *c.options
	return &o
}

// Pid is the server's process id.
func (c *Child) Pid() int { return c.cmd.Process.Pid }

// Exited is closed when the server has ended, for whatever reason.
func (c *Child) Exited() <-chan struct{} { return c.exited }

// LastWords is the end of what the server printed.
func (c *Child) LastWords() string { return c.said.String() }

// Stop asks the server to stop, waits for it, and gives the folder free. A
// second Stop does nothing more and returns the same.
func (c *Child) Stop() error {
	c.stop.Do(func() {
		var errs []error
		if err := c.cmd.Process.Signal(syscall.SIGTERM); err != nil && !errors.Is(err, os.ErrProcessDone) {
			errs = append(errs, err)
		}
		select {
		case <-c.exited:
		case <-time.After(stopPatience):
			c.Kill()
			errs = append(errs, fmt.Errorf("had to be killed, after %s", stopPatience))
		}
		errs = append(errs, c.cleanUp())
		if err := errors.Join(errs...); err != nil {
			c.stopErr = fmt.Errorf("redis-server: stop: %w", err)
		}
	})
	return c.stopErr
}

// Kill ends the server with SIGKILL and waits until it is gone. Stop is still
// to be called.
func (c *Child) Kill() {
	_ = c.cmd.Process.Kill() // fails only if it is gone already
	<-c.exited
}

func (c *Child) cleanUp() error {
	err := c.lock.Close()
	if c.socketDir != "" {
		err = errors.Join(err, os.RemoveAll(c.socketDir))
	}
	return err
}

// tail keeps the end of what is written to it.
type tail struct {
	mu   sync.Mutex
	text []byte
}

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.text = append(t.text, p...)
	if over := len(t.text) - lastWords; over > 0 {
		t.text = bytes.Clone(t.text[over:])
	}
	return len(p), nil
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return string(t.text)
}
