package carrier

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// FormConfig describes, in YAML, an HTTP gateway that takes and posts forms
// (application/x-www-form-urlencoded) in its own way, so that it needs no code
// of ours. testdata/carrier holds two worked samples, of invented gateways.
//
// The gateway must give back our text's id with a receipt, in a field or in
// the address it was told to post to: what it calls the text itself is not kept.
type FormConfig struct {
	Out       FormOut       `yaml:"out"`
	In        FormIn        `yaml:"in"`
	Receipt   *FormReceipt  `yaml:"receipt"`
	Signature FormSignature `yaml:"signature"`
	Answer    FormAnswer    `yaml:"answer"`
}

// FormOut is how a text is handed over. In the values of Fields and Headers
// stand {id}, {from}, {to}, {to_digits} (without "+"), {body} and {class}.
type FormOut struct {
	URL         string            `yaml:"url"`
	Plain       bool              `yaml:"plain_http"` // http to another machine is meant
	From        string            `yaml:"from"`
	Timeout     string            `yaml:"timeout"` // as Go writes durations, "15s"
	User        string            `yaml:"user"`    // of HTTP basic authentication
	PasswordEnv string            `yaml:"password_env"`
	BearerEnv   string            `yaml:"bearer_env"`
	Fields      map[string]string `yaml:"fields"`
	Headers     map[string]string `yaml:"headers"`
	Idempotent  bool              `yaml:"idempotent"` // it sends one text for one {id}
	Says        *FormSays         `yaml:"says"`
}

// FormSays reads a 2xx answer of a gateway that may still mean no: the value of
// a top-level field of a JSON answer. A value in none of the lists, or no such
// field, leaves it unknown whether the text was taken.
type FormSays struct {
	Field   string   `yaml:"field"`
	Taken   []string `yaml:"taken"`
	Busy    []string `yaml:"busy"`
	Refused []string `yaml:"refused"`
	Why     string   `yaml:"why"` // a field that tells the reason
}

// FormIn names the fields of a text in. Fields are looked for in the form, then
// in the query of the address.
type FormIn struct {
	ID       string `yaml:"id"` // the same at every try
	From     string `yaml:"from"`
	To       string `yaml:"to"`
	Body     string `yaml:"body"`
	At       string `yaml:"at"`       // optional
	AtAs     string `yaml:"at_as"`    // rfc3339, unix or unix_ms
	Attached string `yaml:"attached"` // optional: how many
	AddPlus  bool   `yaml:"add_plus"` // its numbers of 7 digits or more lack the "+"
}

// FormReceipt names the fields of a receipt, and what their values mean. A form
// that has both the id of a text of ours and a status is a receipt; all else is
// a text.
type FormReceipt struct {
	Text        string   `yaml:"text"`
	Status      string   `yaml:"status"`
	Delivered   []string `yaml:"delivered"`
	Undelivered []string `yaml:"undelivered"`
	Pending     []string `yaml:"pending"` // no news: answered, not kept
	Why         string   `yaml:"why"`     // optional
}

// FormSignature is how the gateway signs what it posts. In Base stand {url}
// (PublicURL with the query as it came), {fields} (names and values run
// together, in order of the names), {form} (name=value&name=value, escaped, in
// the same order), {body} (as it came) and {timestamp} (of its header). Where
// the gateway offers a choice: {body} with {timestamp} is the best, {fields}
// the worst, for what is run together can be parted in several ways.
type FormSignature struct {
	Header          string `yaml:"header"`
	Prefix          string `yaml:"prefix"`    // before the signature, "sha256="
	Algorithm       string `yaml:"algorithm"` // hmac-sha1, hmac-sha256, hmac-sha512
	Encoding        string `yaml:"encoding"`  // base64 or hex
	Base            string `yaml:"base"`
	PublicURL       string `yaml:"public_url"`
	TimestampHeader string `yaml:"timestamp_header"` // Unix seconds
	WithoutTime     bool   `yaml:"without_time"`     // it signs no time; an old message can be played again
	SecretEnv       string `yaml:"secret_env"`
}

// FormAnswer is what the gateway wants to hear once a message is stored.
type FormAnswer struct {
	Type string `yaml:"type"` // text/plain if empty
	Body string `yaml:"body"`
}

// Form is a gateway that takes and posts forms: a Carrier for what goes out
// and a Reader for what comes in. It is safe for concurrent use.
type Form struct {
	cfg      FormConfig
	timeout  time.Duration
	password string
	bearer   string
	secret   []byte
	client   *http.Client
}

// ParseForm reads the configuration of a form gateway. getenv gives the secrets
// by the names in it; client's transport is used, nil is an ordinary one. An
// error names the file, the line, the field, and what would be right.
func ParseForm(file string, data []byte, getenv func(string) string, client *http.Client) (*Form, error) {
	tree, err := parser.ParseBytes(data, 0)
	if err != nil {
		return nil, fmt.Errorf("%s: not YAML: %w", file, err)
	}
	f := &Form{client: lone(client), timeout: gatewayTimeout}
	if err := yaml.UnmarshalWithOptions(data, &f.cfg, yaml.Strict()); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	c := formCheck{file: file, tree: tree}
	c.all(&f.cfg)
	c.env(getenv, "out.password_env", f.cfg.Out.PasswordEnv, &f.password)
	c.env(getenv, "out.bearer_env", f.cfg.Out.BearerEnv, &f.bearer)
	secret := ""
	c.env(getenv, "signature.secret_env", f.cfg.Signature.SecretEnv, &secret)
	f.secret = []byte(secret)
	if t := f.cfg.Out.Timeout; t != "" {
		d, err := time.ParseDuration(t)
		if err != nil || d <= 0 || d > 10*time.Minute {
			c.fail("out.timeout", `it must be a time up to 10m, as in "15s"`)
		}
		f.timeout = d
	}
	if len(c.wrong) > 0 {
		return nil, errors.Join(c.wrong...)
	}
	return f, nil
}

// formCheck collects everything that is wrong with a configuration.
type formCheck struct {
	file  string
	tree  *ast.File
	wrong []error
}

// fail says what is wrong with a field, with the line it is on, or the line of
// the nearest thing above it that is there.
func (c *formCheck) fail(field, format string, args ...any) {
	at := c.file
	for path := field; path != ""; path = path[:max(strings.LastIndexByte(path, '.'), 0)] {
		p, err := yaml.PathString("$." + path)
		if err != nil {
			continue // a name that no path can hold
		}
		if node, err := p.FilterFile(c.tree); err == nil && node != nil {
			at = fmt.Sprintf("%s:%d", c.file, node.GetToken().Position.Line)
			break
		}
	}
	c.wrong = append(c.wrong, fmt.Errorf("%s: %s: "+format, append([]any{at, field}, args...)...))
}

func (c *formCheck) need(field, value string) {
	if value == "" {
		c.fail(field, "it is missing")
	}
}

func (c *formCheck) oneOf(field, value string, choices ...string) {
	for _, choice := range choices {
		if value == choice {
			return
		}
	}
	c.fail(field, "it is %q; it must be one of %s", value, strings.Join(choices, ", "))
}

func (c *formCheck) env(getenv func(string) string, field, name string, into *string) {
	if name == "" {
		return
	}
	if *into = getenv(name); *into == "" {
		c.fail(field, "the environment variable %s is empty or not set", name)
	}
}

// template checks the {placeholders} of a value.
func (c *formCheck) template(field, value string, known ...string) {
	for _, part := range splitTemplate(value) {
		if part.name {
			c.oneOf(field, part.text, known...)
		}
	}
}

type templatePart struct {
	name bool
	text string
}

// splitTemplate parts "{timestamp}.{body}" into names and what is between. A
// brace without its other half stands for itself.
func splitTemplate(s string) []templatePart {
	var parts []templatePart
	for s != "" {
		open := strings.IndexByte(s, '{')
		end := -1
		if open >= 0 {
			end = strings.IndexByte(s[open:], '}')
		}
		if end < 0 {
			return append(parts, templatePart{false, s})
		}
		if open > 0 {
			parts = append(parts, templatePart{false, s[:open]})
		}
		parts = append(parts, templatePart{true, s[open+1 : open+end]})
		s = s[open+end+1:]
	}
	return parts
}

func fillTemplate(s string, values map[string]string) string {
	var out strings.Builder
	for _, part := range splitTemplate(s) {
		if part.name {
			out.WriteString(values[part.text])
		} else {
			out.WriteString(part.text)
		}
	}
	return out.String()
}
