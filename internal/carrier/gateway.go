package carrier

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"time"
)

// GatewayConfig says where the signed HTTP gateway is and how to speak to it.
type GatewayConfig struct {
	URL     string   // https; http only on this machine itself, or with Plain
	Secrets []Secret // at least one; the first is the newest, all sign
	From    string   // our sending number, where a text names none
	Timeout time.Duration
	Client  *http.Client     // its transport is used; nil is an ordinary one
	Plain   bool             // http to another machine is meant, as inside a closed network
	Now     func() time.Time // the clock that signs; nil is time.Now
}

// gatewayTimeout is how long one hand-over may take where the configuration
// does not say: the specification recommends 15 to 30 s.
const gatewayTimeout = 15 * time.Second

// Gateway hands texts over as signed JSON, by POST (Standard Webhooks 1.0.0):
//
//	{"kind": "text", "id": "maple-17.4.0", "from": "+12025550100",
//	 "to": "+12025550143", "body": "...", "class": "reminder"}
//
// The webhook-id is the text's id, the same at every try, and the gateway is
// expected to send one text for it. Its answers mean:
//
//	2xx                            it has the text
//	429, 425, 503 with Retry-After it has not, and may take it later
//	3xx, 401, 403, 404, 405, 407,  it takes nothing from us as things stand:
//	410, 421                       the link is set up wrongly, not the text
//	other 4xx but 408, 409         it will never take this text
//	anything else, or none         unknown
//
// A line of JSON {"error": "..."} may say why. Redirects are not followed.
type Gateway struct {
	url     string
	secrets []Secret
	from    string
	timeout time.Duration
	client  *http.Client
	now     func() time.Time
}

// NewGateway checks the configuration; an error names the field.
func NewGateway(cfg GatewayConfig) (*Gateway, error) {
	if problem := urlProblem(cfg.URL, cfg.Plain); problem != "" {
		return nil, errors.New("gateway url: " + problem)
	}
	if len(cfg.Secrets) == 0 {
		return nil, errors.New(`gateway secrets: there is none; give at least one "whsec_..."`)
	}
	for i, s := range cfg.Secrets {
		if len(s.key) == 0 {
			return nil, fmt.Errorf("gateway secrets: number %d is empty", i+1)
		}
	}
	if cfg.From != "" {
		if problem := senderProblem(cfg.From); problem != "" {
			return nil, fmt.Errorf("gateway from: %s", problem)
		}
	}
	if cfg.Timeout < 0 {
		return nil, fmt.Errorf("gateway timeout: %s is below zero; leave it out for %s", cfg.Timeout, gatewayTimeout)
	}
	g := &Gateway{cfg.URL, cfg.Secrets, cfg.From, cfg.Timeout, lone(cfg.Client), cfg.Now}
	if g.timeout == 0 {
		g.timeout = gatewayTimeout
	}
	if g.now == nil {
		g.now = time.Now
	}
	return g, nil
}

// urlProblem says what is wrong with the address of a gateway; "" if nothing.
func urlProblem(raw string, plain bool) string {
	u, err := url.Parse(raw)
	switch {
	case err != nil || u.Host == "" || (u.Scheme != "https" && u.Scheme != "http"):
		return `it must be a whole address, as in "https://gateway.example/texts"`
	case u.User != nil || u.Fragment != "":
		return "it must hold neither a user nor a fragment (#)"
	case u.Scheme == "http" && !plain && !loopback(u.Hostname()):
		return "texts would travel in the clear; use https, or say that plain http is meant"
	}
	return ""
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// lone is a client that follows no redirects, keeps no cookies, and leaves
// time limits to the context.
func lone(c *http.Client) *http.Client {
	if c == nil {
		transport := http.DefaultTransport.(*http.Transport).Clone()
		transport.MaxIdleConnsPerHost = 32
		c = &http.Client{Transport: transport}
	}
	return &http.Client{
		Transport:     c.Transport,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// Idempotent is true: the gateway is held to the meaning of webhook-id.
func (g *Gateway) Idempotent() bool { return true }

// Send hands one text over, in at most the configured time.
func (g *Gateway) Send(ctx context.Context, t Text) error {
	if err := checkID(string(t.ID)); err != nil {
		return &Refusal{Why: "it has no usable id"}
	}
	from := t.From
	if from == "" {
		from = g.from
	}
	body, err := json.Marshal(outgoing{KindText, string(t.ID), from, t.To, t.Body, className(t.Class)})
	if err != nil {
		return &Refusal{Why: "it cannot be written as JSON"}
	}
	return post(ctx, g.client, g.timeout, func(ctx context.Context) (*http.Request, error) {
		r, err := http.NewRequestWithContext(ctx, http.MethodPost, g.url, bytes.NewReader(body))
		if err != nil {
			return nil, err
		}
		at := g.now()
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set(HeaderID, string(t.ID))
		r.Header.Set(HeaderTimestamp, fmt.Sprint(at.Unix()))
		r.Header.Set(HeaderSignature, Sign(g.secrets, string(t.ID), at, body))
		return r, nil
	}, meaning)
}

type outgoing struct {
	Kind  string `json:"kind"`
	ID    string `json:"id"`
	From  string `json:"from,omitempty"`
	To    string `json:"to"`
	Body  string `json:"body"`
	Class string `json:"class"`
}
