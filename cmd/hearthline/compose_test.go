package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"hearthline/internal/testneed"
)

// TestComposeIsComplete holds docker-compose.yml to what it promises, as far as
// that can be done without a container engine: it parses, every volume and
// network that a service names is defined, every service can be built or
// pulled, Redis keeps what it acknowledges, and its port is not published.
func TestComposeIsComplete(t *testing.T) {
	root := testneed.Root(t)
	src, err := os.ReadFile(filepath.Join(root, "docker-compose.yml"))
	if err != nil {
		t.Fatal(err)
	}
	var c struct {
		Services map[string]struct {
			Image, Build, Command, Restart string
			Volumes, Networks, Ports       []string
			Environment                    map[string]string
			Healthcheck                    struct{ Test []string }
			DependsOn                      map[string]struct{ Condition string } `yaml:"depends_on"`
		}
		Networks, Volumes map[string]any
	}
	if err := yaml.Unmarshal(src, &c); err != nil {
		t.Fatal(err)
	}
	for name, s := range c.Services {
		if (s.Image == "") == (s.Build == "") {
			t.Errorf("service %s has image %q and build %q; want one of them", name, s.Image, s.Build)
		}
		if s.Build != "" {
			if _, err := os.Stat(filepath.Join(root, s.Build, "Dockerfile")); err != nil {
				t.Errorf("service %s: %v", name, err)
			}
		}
		for _, v := range s.Volumes {
			from, _, _ := strings.Cut(v, ":")
			if _, defined := c.Volumes[from]; !defined && !strings.HasPrefix(from, "./") {
				t.Errorf("service %s: volume %s is not defined", name, from)
			}
		}
		for _, n := range s.Networks {
			if _, defined := c.Networks[n]; !defined {
				t.Errorf("service %s: network %s is not defined", name, n)
			}
		}
		for on := range s.DependsOn {
			if _, defined := c.Services[on]; !defined {
				t.Errorf("service %s depends on %s, which is not defined", name, on)
			}
		}
		if s.Restart == "" {
			t.Errorf("service %s is not started again after a fault", name)
		}
	}
	r := c.Services["redis"]
	for _, want := range []string{"--appendonly yes", "--appendfsync always", "--no-appendfsync-on-rewrite no", "--maxmemory-policy noeviction", "--requirepass"} {
		if !strings.Contains(r.Command, want) {
			t.Errorf("redis runs without %s", want)
		}
	}
	if len(r.Ports) > 0 || len(r.Healthcheck.Test) == 0 || !strings.Contains(fmt.Sprint(r.Volumes), ":/data") {
		t.Errorf("redis: ports %v, health check %v, volumes %v; want none, one, and one for its data", r.Ports, r.Healthcheck.Test, r.Volumes)
	}
	if !strings.Contains(c.Services["hearthline"].Environment["REDIS_URL"], "@redis:6379") {
		t.Errorf("the service's REDIS_URL is %q", c.Services["hearthline"].Environment["REDIS_URL"])
	}
}
