package main

import (
	"bytes"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/goccy/go-yaml"

	"hearthline/internal/carrier"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/seal"
)

// config is the configuration of serve: the file, with the environment over it.
// Every secret may stand in a file of its own instead.
type config struct {
	Branch        string        `yaml:"branch"`         // code of the branch, "north"
	Service       string        `yaml:"service"`        // the name that texts are signed with
	Call          string        `yaml:"call"`           // the number that families ring
	Emergency     string        `yaml:"emergency"`      // the local emergency number
	Crisis        string        `yaml:"crisis"`         // the crisis line, where the flows' own does not hold
	Zone          string        `yaml:"zone"`           // IANA zone of the office
	Languages     []string      `yaml:"languages"`      // of texts to a number that is not known, first one first
	Region        string        `yaml:"region"`         // how a number without + is read, "US"
	Pages         string        `yaml:"pages"`          // loopback address of the pages, "127.0.0.1:8080"
	Hook          string        `yaml:"hook"`           // address of the hook, "0.0.0.0:8081"; empty: with the pages
	Token         string        `yaml:"token"`          // opens the pages; or token_file
	TokenFile     string        `yaml:"token_file"`     //
	KeyFile       string        `yaml:"key_file"`       // keys that seal what is personal; made if missing
	RedisURL      string        `yaml:"redis_url"`      // empty: a redis-server is started on data
	Data          string        `yaml:"data"`           // folder of what is kept here
	Households    string        `yaml:"households"`     // folder of household files, read at start
	Flows         string        `yaml:"flows"`          // folder of flows; empty: the shipped ones
	UnsignedFlows bool          `yaml:"unsigned_flows"` // run although no clinician has signed the flows
	Weaker        bool          `yaml:"weaker_durability"`
	In            inConfig      `yaml:"in"`
	Out           gatewayConfig `yaml:"out"`
}

// inConfig is about texts that come in.
type inConfig struct {
	Path        string   `yaml:"path"`         // of the hook, "/hook"
	Secrets     []string `yaml:"secrets"`      // whsec_...; any of them may have signed
	SecretsFile string   `yaml:"secrets_file"` // one a line
}

// gatewayConfig is about texts that go out.
type gatewayConfig struct {
	URL         string   `yaml:"url"`
	From        string   `yaml:"from"` // our own number, E.164
	Secrets     []string `yaml:"secrets"`
	SecretsFile string   `yaml:"secrets_file"`
	PerSecond   float64  `yaml:"per_second"` // texts a second that the number may send; 0: not limited here
	PlainHTTP   bool     `yaml:"plain_http"` // allow http:// to another machine
}

var branchForm = regexp.MustCompile(`^[a-z0-9-]{1,64}$`)

// env are the environment variables that stand over the file.
var env = []struct {
	name string
	set  func(*config, string)
}{
	{"REDIS_URL", func(c *config, v string) { c.RedisURL = v }},
	{"HEARTHLINE_TOKEN", func(c *config, v string) { c.Token = v }},
	{"HEARTHLINE_IN_SECRETS", func(c *config, v string) { c.In.Secrets = strings.Fields(v) }},
	{"HEARTHLINE_OUT_SECRETS", func(c *config, v string) { c.Out.Secrets = strings.Fields(v) }},
	{"HEARTHLINE_OUT_URL", func(c *config, v string) { c.Out.URL = v }},
	{"HEARTHLINE_PAGES", func(c *config, v string) { c.Pages = v }},
	{"HEARTHLINE_HOOK", func(c *config, v string) { c.Hook = v }},
	{"HEARTHLINE_DATA_DIR", func(c *config, v string) { c.Data = v }},
	{"HEARTHLINE_KEY_FILE", func(c *config, v string) { c.KeyFile = v }},
}

// settings is a configuration that was checked whole.
type settings struct {
	config
	branch     household.Branch
	inSecrets  []carrier.Secret
	outSecrets []carrier.Secret
}

// loadConfig reads the file, puts the environment over it and checks all of
// it. Its error names every field that is wrong and what would be right.
func loadConfig(file string, getenv func(string) string) (*settings, error) {
	src, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("configuration: %w", err)
	}
	c := config{Pages: "127.0.0.1:8080", Emergency: "911", Region: "US", Data: "data", Languages: []string{"en"}}
	if err := decodeConfig(src, &c); err != nil {
		return nil, fmt.Errorf("configuration %s: %w", file, err)
	}
	for _, e := range env {
		if v := getenv(e.name); v != "" {
			e.set(&c, v)
		}
	}
	// Files that the configuration names lie beside it.
	beside := func(p *string) {
		if *p != "" && !filepath.IsAbs(*p) {
			*p = filepath.Join(filepath.Dir(file), *p)
		}
	}
	for _, p := range []*string{&c.TokenFile, &c.KeyFile, &c.Data, &c.Households, &c.Flows, &c.In.SecretsFile, &c.Out.SecretsFile} {
		beside(p)
	}
	return c.check(file)
}

// decodeConfig reads strictly. The YAML library panics on some input that is no
// YAML; that is an error of the file like any other.
func decodeConfig(src []byte, c *config) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("this is no YAML that can be read: %v", p)
		}
	}()
	return yaml.NewDecoder(bytes.NewReader(src), yaml.Strict()).Decode(c)
}

func (c config) check(file string) (*settings, error) {
	var errs []error
	bad := func(field, format string, args ...any) {
		errs = append(errs, fmt.Errorf("configuration %s: %s: %s", file, field, fmt.Sprintf(format, args...)))
	}
	if !branchForm.MatchString(c.Branch) {
		bad("branch", "%q is not a code; give lower-case letters and dashes, such as north", c.Branch)
	}
	if c.Service == "" {
		bad("service", "is empty; give the name that families know you by")
	}
	if c.Call == "" {
		bad("call", "is empty; give the number that families ring at any hour")
	}
	zone, err := time.LoadLocation(c.Zone)
	if err != nil || c.Zone == "" {
		bad("zone", "%q is not an IANA time zone; give one such as America/Chicago", c.Zone)
	}
	if c.TokenFile != "" {
		b, err := os.ReadFile(c.TokenFile)
		if err != nil {
			bad("token_file", "%v", err)
		}
		c.Token = strings.TrimSpace(string(b))
	}
	if len(c.Token) < 16 {
		bad("token", "has %d characters; give at least 16, or a token_file", len(c.Token))
	}
	if !loopback(c.Pages) {
		bad("pages", "%q is not a loopback address; until there are accounts the pages listen on 127.0.0.1 or [::1] only", c.Pages)
	}
	if c.Hook != "" {
		if _, _, err := net.SplitHostPort(c.Hook); err != nil {
			bad("hook", "%q is not an address; give host:port", c.Hook)
		}
	}
	s := &settings{config: c}
	s.inSecrets = secrets(c.In.Secrets, c.In.SecretsFile, "in.secrets", bad)
	s.outSecrets = secrets(c.Out.Secrets, c.Out.SecretsFile, "out.secrets", bad)
	if _, err := carrier.E164(c.Out.From, c.Region, carrier.Fictitious); err != nil {
		bad("out.from", "%v", err)
	}
	if c.Out.URL == "" {
		bad("out.url", "is empty; give the address of the gateway that takes our texts")
	}
	if c.Out.PerSecond < 0 || c.Out.PerSecond > 1000 {
		bad("out.per_second", "is %g; give up to 1000, or 0 for no limit here", c.Out.PerSecond)
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	s.branch = household.Branch{ID: journal.BranchID(c.Branch), Service: c.Service, Call: c.Call, Emergency: c.Emergency, Crisis: c.Crisis, Zone: zone, Languages: c.Languages}
	return s, nil
}

func secrets(given []string, file, field string, bad func(field, format string, args ...any)) []carrier.Secret {
	if file != "" {
		b, err := os.ReadFile(file)
		if err != nil {
			bad(field+"_file", "%v", err)
		}
		given = append(given, strings.Fields(string(b))...)
	}
	if len(given) == 0 {
		bad(field, "is empty; give at least one whsec_ secret")
	}
	var out []carrier.Secret
	for i, text := range given {
		s, err := carrier.ParseSecret(text)
		if err != nil {
			bad(fmt.Sprintf("%s[%d]", field, i), "%v", err)
			continue
		}
		out = append(out, s)
	}
	return out
}

func loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// keys reads the sealing keys, or makes them when the file is not there yet
// and nothing can have been sealed with others.
func (s *settings) keys() (*seal.Keys, error) {
	file := s.KeyFile
	if file == "" {
		file = filepath.Join(s.Data, "keys")
	}
	b, err := os.ReadFile(file)
	switch {
	case err == nil:
		return seal.ParseKeys(string(b))
	case !errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("key_file: %w", err)
	}
	key := make([]byte, seal.KeyBytes)
	if _, err := rand.Read(key); err != nil {
		return nil, fmt.Errorf("make a key: %w", err)
	}
	text := "k1:" + base64.StdEncoding.EncodeToString(key)
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return nil, fmt.Errorf("key_file: %w", err)
	}
	if err := os.WriteFile(file, []byte(text+"\n"), 0o600); err != nil {
		return nil, fmt.Errorf("key_file: %w", err)
	}
	return seal.ParseKeys(text)
}
