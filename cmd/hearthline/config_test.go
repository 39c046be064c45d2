package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const goodConfig = `branch: north
service: Invented Home Feeding
call: "+1 202 555 0199"
zone: America/Chicago
token: a-token-for-tests-only
in: {secrets: [whsec_aW52ZW50ZWQgZm9yIHRlc3RzIG9ubHksIG5vIHNlY3JldA==]}
out: {url: "https://gateway.example/texts", from: "+12025550100", secrets: [whsec_aW52ZW50ZWQgZm9yIHRlc3RzIG9ubHksIG5vIHNlY3JldA==]}
`

func writeConfig(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "hearthline.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func nothing(string) string { return "" }

func TestConfigNamesEveryFieldThatIsWrong(t *testing.T) {
	for _, c := range []struct{ name, from, to, want string }{
		{"no branch", "branch: north", "branch: \"\"", "branch"},
		{"a branch that would break keys", "branch: north", "branch: \"a{b}\"", "branch"},
		{"no name", "service: Invented Home Feeding", "service: \"\"", "service"},
		{"no number to ring", `call: "+1 202 555 0199"`, `call: ""`, "call"},
		{"an impossible zone", "America/Chicago", "America/Gotham", "America/Gotham"},
		{"an empty zone", "zone: America/Chicago", `zone: ""`, "zone"},
		{"a short token", "a-token-for-tests-only", "short", "token"},
		{"pages for the world", "token: a", "pages: 0.0.0.0:8080\ntoken: a", "loopback"},
		{"no secret for texts in", "in: {secrets: [whsec_aW52ZW50ZWQgZm9yIHRlc3RzIG9ubHksIG5vIHNlY3JldA==]}", "in: {}", "in.secrets"},
		{"a secret that is none", "in: {secrets: [whsec_aW52", "in: {secrets: [abc_aW52", "in.secrets[0]"},
		{"no gateway", `url: "https://gateway.example/texts"`, `url: ""`, "out.url"},
		{"a sending number that is none", `from: "+12025550100"`, `from: "555"`, "out.from"},
		{"an unknown field", "branch: north", "branch: north\nbranhc: south", "branhc"},
	} {
		text := strings.Replace(goodConfig, c.from, c.to, 1)
		if text == goodConfig {
			t.Fatalf("%s: the case changes nothing", c.name)
		}
		if _, err := loadConfig(writeConfig(t, text), nothing); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one that names %q", c.name, err, c.want)
		}
	}
	_, err := loadConfig(writeConfig(t, strings.NewReplacer("branch: north", "branch: \"\"", "America/Chicago", "Nowhere").Replace(goodConfig)), nothing)
	if err == nil || !strings.Contains(err.Error(), "branch") || !strings.Contains(err.Error(), "zone") {
		t.Errorf("two faults: error %v, want both named at once", err)
	}
}

func TestTheEnvironmentStandsOverTheFile(t *testing.T) {
	env := map[string]string{"REDIS_URL": "redis://over:6379/1", "HEARTHLINE_TOKEN": "another-token-that-is-long"}
	s, err := loadConfig(writeConfig(t, "redis_url: redis://file:6379/0\n"+goodConfig), func(k string) string { return env[k] })
	if err != nil {
		t.Fatal(err)
	}
	if s.RedisURL != "redis://over:6379/1" || s.Token != "another-token-that-is-long" || s.Emergency != "911" {
		t.Errorf("settings %q %q %q", s.RedisURL, s.Token, s.Emergency)
	}
}

func TestKeysAreMadeOnceAndKept(t *testing.T) {
	s, err := loadConfig(writeConfig(t, goodConfig), nothing)
	if err != nil {
		t.Fatal(err)
	}
	first, err := s.keys()
	if err != nil {
		t.Fatal(err)
	}
	sealed, err := first.Seal("north", "maple-17", "state", []byte("x"))
	if err != nil {
		t.Fatal(err)
	}
	again, err := s.keys()
	if err != nil {
		t.Fatal(err)
	}
	if plain, err := again.Open("north", "maple-17", "state", sealed); err != nil || string(plain) != "x" {
		t.Errorf("keys read again open %q, %v", plain, err)
	}
	info, err := os.Stat(filepath.Join(s.Data, "keys"))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key file is %v, %v; want it readable by its owner only", info.Mode(), err)
	}
}

func FuzzConfig(f *testing.F) {
	f.Add([]byte(goodConfig))
	f.Add([]byte("branch: [\n"))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte) {
		if strings.Contains(string(b), "_file") {
			return // would read files of this machine
		}
		file := filepath.Join(dir, "c.yaml")
		if err := os.WriteFile(file, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if s, err := loadConfig(file, nothing); err == nil && (s.branch.Zone == nil || len(s.inSecrets) == 0) {
			t.Errorf("a configuration was taken without zone or secrets")
		}
	})
}
