package carrier

import (
	"sort"
	"strings"
)

var formOutNames = []string{"id", "from", "to", "to_digits", "body", "class"}

func (c *formCheck) all(cfg *FormConfig) {
	c.out(&cfg.Out)
	c.in(&cfg.In)
	if cfg.Receipt != nil {
		c.receipt(cfg.Receipt)
	}
	c.signature(&cfg.Signature)
	if strings.ContainsAny(cfg.Answer.Type, "\r\n") {
		c.fail("answer.type", `it must be one line, as in "text/plain"`)
	}
}

func (c *formCheck) out(o *FormOut) {
	if problem := urlProblem(o.URL, o.Plain); problem != "" {
		c.fail("out.url", "%s", problem)
	}
	if o.From != "" {
		if problem := senderProblem(o.From); problem != "" {
			c.fail("out.from", "%s", problem)
		}
	}
	if (o.User == "") != (o.PasswordEnv == "") {
		c.fail("out.user", "user and password_env must be given together")
	}
	if o.User != "" && o.BearerEnv != "" {
		c.fail("out.bearer_env", "it must not stand beside user: one way to say who we are is enough")
	}
	uses := map[string]bool{}
	for _, name := range sortedKeys(o.Fields) {
		c.template("out.fields."+name, o.Fields[name], formOutNames...)
		for _, part := range splitTemplate(o.Fields[name]) {
			uses[part.text] = uses[part.text] || part.name
		}
	}
	for _, name := range sortedKeys(o.Headers) {
		if !headerName(name) || strings.ContainsAny(o.Headers[name], "\r\n") {
			c.fail("out.headers."+name, `a header has a name of letters, digits and "-", and a value of one line`)
		}
		c.template("out.headers."+name, o.Headers[name], "id", "class")
		for _, part := range splitTemplate(o.Headers[name]) {
			uses[part.text] = uses[part.text] || part.name
		}
	}
	if !uses["to"] && !uses["to_digits"] {
		c.fail("out.fields", "no field holds {to} or {to_digits}, so no text would arrive")
	}
	if !uses["body"] {
		c.fail("out.fields", "no field holds {body}, so every text would be empty")
	}
	if o.Idempotent && !uses["id"] {
		c.fail("out.idempotent", "no field or header holds {id}, so the gateway cannot know a text again")
	}
	if s := o.Says; s != nil {
		c.need("out.says.field", s.Field)
		if len(s.Taken) == 0 {
			c.fail("out.says.taken", "it must list at least one value that means the text was taken")
		}
		c.disjoint("out.says", s.Taken, s.Busy, s.Refused)
	}
}

func (c *formCheck) in(i *FormIn) {
	c.need("in.id", i.ID)
	c.need("in.from", i.From)
	c.need("in.to", i.To)
	c.need("in.body", i.Body)
	if i.At != "" {
		c.oneOf("in.at_as", i.AtAs, "rfc3339", "unix", "unix_ms")
	}
}

func (c *formCheck) receipt(r *FormReceipt) {
	c.need("receipt.text", r.Text)
	c.need("receipt.status", r.Status)
	if len(r.Delivered) == 0 {
		c.fail("receipt.delivered", "it must list at least one value that means delivered")
	}
	if len(r.Undelivered) == 0 {
		c.fail("receipt.undelivered", "it must list at least one value that means undelivered")
	}
	c.disjoint("receipt", r.Delivered, r.Undelivered, r.Pending)
}

func headerName(s string) bool {
	for _, r := range s {
		if r != '-' && (r < '0' || r > '9') && (r < 'A' || r > 'Z') && (r < 'a' || r > 'z') {
			return false
		}
	}
	return s != ""
}

func (c *formCheck) signature(s *FormSignature) {
	c.need("signature.header", s.Header)
	c.need("signature.secret_env", s.SecretEnv)
	c.oneOf("signature.algorithm", s.Algorithm, "hmac-sha1", "hmac-sha256", "hmac-sha512")
	c.oneOf("signature.encoding", s.Encoding, "base64", "hex")
	c.template("signature.base", s.Base, "url", "fields", "form", "body", "timestamp")
	has := func(names ...string) bool {
		for _, part := range splitTemplate(s.Base) {
			for _, name := range names {
				if part.name && part.text == name {
					return true
				}
			}
		}
		return false
	}
	if !has("fields", "form", "body") {
		c.fail("signature.base", "it must hold {fields}, {form} or {body}, or anyone could change a message")
	}
	if has("url") {
		if problem := urlProblem(s.PublicURL, true); problem != "" {
			c.fail("signature.public_url", "%s; it is what {url} stands for", problem)
		}
		if strings.Contains(s.PublicURL, "?") {
			c.fail("signature.public_url", "it must be without a query; that is added as it came")
		}
	}
	switch {
	case has("timestamp") && s.TimestampHeader == "":
		c.fail("signature.timestamp_header", "it is missing; it is what {timestamp} stands for")
	case !has("timestamp") && s.TimestampHeader != "":
		c.fail("signature.base", "it must hold {timestamp}: a time that is not signed proves nothing")
	case !has("timestamp") && !s.WithoutTime:
		c.fail("signature.base", "it holds no {timestamp}, so an old message could be played again once its id is forgotten; if the gateway signs none, say without_time: true")
	}
}

// disjoint checks that no value has two meanings.
func (c *formCheck) disjoint(field string, lists ...[]string) {
	seen := map[string]bool{}
	for _, list := range lists {
		for _, value := range list {
			if seen[value] {
				c.fail(field, "the value %q is listed twice; it can mean one thing only", value)
			}
			seen[value] = true
		}
	}
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
