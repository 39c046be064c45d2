package smpp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"hearthline/internal/carrier"
)

// centre is a message centre in memory, on a virtual clock: what the peer of
// another make shows in real time, and what it cannot be made to do.
type centre struct {
	mu       sync.Mutex
	down     bool
	dialed   []time.Time
	sessions []net.Conn
	submit   func(p pdu) []pdu // what is answered to a submit_sm; nil is silence
	enquired int
	answers  chan pdu // deliver_sm_resp
}

func newCentre() *centre {
	c := &centre{answers: make(chan pdu, 100)}
	n := 0
	c.submit = func(p pdu) []pdu { n++; return []pdu{accepted(p, fmt.Sprint("id-", n))} }
	return c
}

func accepted(p pdu, id string) pdu {
	return pdu{submitSM | responseBit, statusOK, p.sequence, append([]byte(id), 0)}
}

func (c *centre) dial(context.Context, string, string) (net.Conn, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.dialed = append(c.dialed, time.Now())
	if c.down {
		return nil, errors.New("refused")
	}
	ours, theirs := net.Pipe()
	c.sessions = append(c.sessions, theirs)
	go c.serve(theirs)
	return ours, nil
}

func (c *centre) serve(conn net.Conn) {
	defer conn.Close()
	for {
		p, err := readPDU(conn)
		if err != nil {
			return
		}
		var out []pdu
		c.mu.Lock()
		switch p.command {
		case bindTransceiver, unbind:
			out = []pdu{{p.command | responseBit, statusOK, p.sequence, []byte{0}}}
		case enquireLink:
			c.enquired++
			out = []pdu{{p.command | responseBit, statusOK, p.sequence, nil}}
		case submitSM:
			out = c.submit(p)
		case deliverSM | responseBit:
			c.answers <- p
		}
		c.mu.Unlock()
		for _, o := range out {
			if _, err := conn.Write(o.bytes()); err != nil {
				return
			}
		}
	}
}

func (c *centre) set(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
}

// deliver sends a deliver_sm on the latest session.
func (c *centre) deliver(t *testing.T, sequence uint32, m message) {
	t.Helper()
	c.mu.Lock()
	conn := c.sessions[len(c.sessions)-1]
	c.mu.Unlock()
	if _, err := conn.Write(pdu{deliverSM, 0, sequence, m.bytes()}.bytes()); err != nil {
		t.Errorf("deliver: %v", err)
	}
}

func (c *centre) drop() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.sessions[len(c.sessions)-1].Close()
}

func fromPhone(body string) message {
	return message{from: address{1, 1, "12025550143"}, to: address{3, 0, "40404"}, short: []byte(body)}
}

// inBubble runs a link against a centre on a virtual clock.
func inBubble(t *testing.T, change func(*Config), f func(t *testing.T, c *centre, l *Link, b *box)) {
	synctest.Test(t, func(t *testing.T) {
		c := newCentre()
		b := &box{came: make(chan carrier.Incoming, 1000)}
		cfg := Config{Address: "smsc.example:2775", SystemID: "hearth", Run: "r1", ShortTON: 3, Accept: b.accept, Dial: c.dial, Jitter: func() float64 { return 1 }}
		if change != nil {
			change(&cfg)
		}
		l, err := New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() { done <- l.Run(ctx) }()
		synctest.Wait()
		f(t, c, l, b)
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Run = %v", err)
		}
	})
}
