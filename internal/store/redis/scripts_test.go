package redisstore

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/redis/go-redis/v9"

	"hearthline/internal/store/storetest"
)

// Every script says what it does, and every script is run by something.
func TestScriptsAreDocumented(t *testing.T) {
	files, err := scriptFiles.ReadDir("scripts")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(loaded) {
		t.Errorf("%d files, %d scripts loaded", len(files), len(loaded))
	}
	for _, f := range files {
		name := strings.TrimSuffix(f.Name(), ".lua")
		if loaded[name] == nil {
			t.Errorf("%s: nothing runs it", f.Name())
		}
		source, err := scriptFiles.ReadFile("scripts/" + f.Name())
		if err != nil {
			t.Fatal(err)
		}
		code := string(source)
		head, _, ok := strings.Cut(code, "\nlocal")
		if !ok {
			head = code
		}
		if !strings.HasPrefix(head, "-- "+name+": ") {
			t.Errorf(`%s does not begin with "-- %s: " and what it does`, f.Name(), name)
		}
		for _, part := range []string{"KEYS", "ARGV", "Returns", "Cost"} {
			if !regexp.MustCompile(`(?m)^-- ` + part + `\b`).MatchString(head) {
				t.Errorf("%s: its head does not say %s", f.Name(), part)
			}
		}
		if strings.Contains(code, "'TIME'") {
			t.Errorf("%s reads the clock; time is an argument", f.Name())
		}
	}
}

// The server itself refuses a script a key that was not handed to it: before
// each call its user is given the keys that the call declares, and no others
// (an ACL holds inside scripts, redis.io "ACL", "Key permissions").
func TestScriptsTouchOnlyTheirKeys(t *testing.T) {
	c := server(t)
	admin := redis.NewClient(c.Options())
	defer func() { _ = admin.Close() }() // only set users up
	if err := admin.Do(t.Context(), "ACL", "SETUSER", "probe", "reset", "on", ">probe", "+@all").Err(); err != nil {
		t.Fatal(err)
	}
	o := c.Options()
	o.Username, o.Password = "probe", "probe"
	s, err := Open(t.Context(), Options{Redis: o})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }() // nothing of this test depends on it
	probe := &onlyDeclared{admin: admin, ran: map[string]bool{}}
	s.client.AddHook(probe)

	hidden := redis.NewScript(`redis.call('SET', KEYS[1], 'x') return redis.call('GET', '{b:probe}:hid' .. 'den')`)
	if err := hidden.Run(t.Context(), s.client, []string{"{b:probe}:declared"}).Err(); err == nil || !strings.Contains(err.Error(), "access") {
		t.Fatalf("a planted script with a hidden key: %v; the check finds nothing", err)
	}
	open := redis.NewScript(`redis.call('SET', KEYS[1], 'x') return redis.call('GET', KEYS[2])`)
	if err := open.Run(t.Context(), s.client, []string{"{b:probe}:declared", "{b:probe}:hidden"}).Err(); err != redis.Nil {
		t.Fatalf("the same with both keys declared: %v, want none but the absence of a value", err)
	}

	storetest.Suite(t, s)
	for name, script := range loaded {
		if !probe.ran[script.Hash()] {
			t.Errorf("%s.lua was not run", name)
		}
	}
}

// onlyDeclared lets each command touch the keys that it declares.
type onlyDeclared struct {
	admin *redis.Client
	mu    sync.Mutex
	ran   map[string]bool
}

func (o *onlyDeclared) DialHook(next redis.DialHook) redis.DialHook { return next }

func (o *onlyDeclared) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		return o.during([]redis.Cmder{cmd}, func() error { return next(ctx, cmd) })
	}
}

func (o *onlyDeclared) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		return o.during(cmds, func() error { return next(ctx, cmds) })
	}
}

func (o *onlyDeclared) during(cmds []redis.Cmder, do func() error) error {
	// Greeting the server comes in the middle of another command and has no keys.
	if slices.Contains([]string{"hello", "auth", "client", "select"}, cmds[0].Name()) {
		return do()
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	rules := []any{"ACL", "SETUSER", "probe", "resetkeys"}
	for _, cmd := range cmds {
		args := cmd.Args()
		switch cmd.Name() {
		case "evalsha", "eval":
			if cmd.Name() == "evalsha" {
				o.ran[args[1].(string)] = true
			}
			for _, key := range args[3 : 3+args[2].(int)] {
				rules = append(rules, pattern(key))
			}
		case "ping", "time", "info", "script":
		default:
			rules = append(rules, pattern(args[1]))
		}
	}
	// Not under the caller's context, which may be over: then the command is for the server to not get.
	if err := o.admin.Do(context.Background(), rules...).Err(); err != nil {
		return err
	}
	return do()
}

// pattern is an ACL's key pattern for one key and no other.
func pattern(key any) string {
	return "~" + strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(key.(string))
}
