package smpp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"hearthline/internal/carrier"
)

// An hour without a centre: tried again at a pace that ends at 5 minutes, and
// up again within 5 minutes of its return.
func TestCentreDownForAnHour(t *testing.T) {
	inBubble(t, nil, func(t *testing.T, c *centre, l *Link, b *box) {
		if !l.Bound() {
			t.Fatal("not bound at first")
		}
		c.set(func() { c.down, c.dialed = true, nil })
		c.drop()
		time.Sleep(time.Hour)
		if err := l.Send(context.Background(), textTo("a.1.0", "x")); carrier.OutcomeOf(err) != carrier.NotNow {
			t.Errorf("Send = %v, want Busy", err)
		}
		c.set(func() {
			c.down = false
			if n := len(c.dialed); n < 12 || n > 25 {
				t.Errorf("%d tries in an hour", n)
			}
		})
		time.Sleep(5*time.Minute + time.Second)
		if err := l.Send(context.Background(), textTo("a.1.0", "x")); err != nil {
			t.Errorf("after its return: %v", err)
		}
	})
}

// A link on which nothing comes any more is given up after enquire and answer
// time, however open it looks; one that is only quiet is kept.
func TestHalfOpenLink(t *testing.T) {
	inBubble(t, nil, func(t *testing.T, c *centre, l *Link, b *box) {
		time.Sleep(time.Hour)
		c.set(func() {
			if len(c.dialed) != 1 || c.enquired < 119 || c.enquired > 120 {
				t.Errorf("a quiet hour: %d connections, %d enquiries; want 1, about 120", len(c.dialed), c.enquired)
			}
			c.dialed = nil
		})
		ours, theirs := net.Pipe() // the next connection is to nobody
		defer theirs.Close()
		s := newSession(ours, 10*time.Second, 30*time.Second)
		began := time.Now()
		go func() { // a wire that swallows everything
			for {
				if _, err := theirs.Read(make([]byte, 100)); err != nil {
					return
				}
			}
		}()
		go s.keepAlive()
		s.read()
		if took := time.Since(began); took != 40*time.Second {
			t.Errorf("given up after %v, want 40s", took)
		}
		synctest.Wait()
	})
}

func TestAnswerThatNeverComes(t *testing.T) {
	inBubble(t, nil, func(t *testing.T, c *centre, l *Link, b *box) {
		var late pdu
		c.set(func() { c.submit = func(p pdu) []pdu { late = accepted(p, "late"); return nil } })
		began := time.Now()
		err := l.Send(context.Background(), textTo("a.1.0", "x"))
		if carrier.OutcomeOf(err) != carrier.Unknown || time.Since(began) != 10*time.Second {
			t.Errorf("Send = %v after %v, want unknown after 10s", err, time.Since(began))
		}
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if err := l.Send(ctx, textTo("a.2.0", "x")); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("Send = %v, want its own deadline", err)
		}
		// The answer comes after all (to the second), and then its receipt: it is known whose it is.
		var octets []byte
		var conn net.Conn
		c.set(func() { octets, conn = late.bytes(), c.sessions[0] })
		if _, err := conn.Write(octets); err != nil {
			t.Fatal(err)
		}
		c.deliver(t, 1, message{esm: esmReceipt, short: []byte("id:late stat:DELIVRD")})
		if in := b.next(t); in.Receipt.Text != "a.2.0" {
			t.Errorf("receipt %+v, want of a.2.0", in.Receipt)
		}
	})
}

// The window is never exceeded, and a text that waited for it in vain was not sent.
func TestWindow(t *testing.T) {
	inBubble(t, func(c *Config) { c.Window = 3 }, func(t *testing.T, c *centre, l *Link, b *box) {
		seen := 0
		c.set(func() { c.submit = func(pdu) []pdu { seen++; return nil } })
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		var wg sync.WaitGroup
		outcomes := make([]carrier.Outcome, 10)
		for i := range outcomes {
			wg.Go(func() { outcomes[i] = carrier.OutcomeOf(l.Send(ctx, textTo(fmt.Sprint("a.", i), "x"))) })
		}
		wg.Wait()
		c.mu.Lock()
		defer c.mu.Unlock()
		slices.Sort(outcomes)
		if want := append(slices.Repeat([]carrier.Outcome{carrier.NotNow}, 7), slices.Repeat([]carrier.Outcome{carrier.Unknown}, 3)...); seen != 3 || !slices.Equal(outcomes, want) {
			t.Errorf("the centre saw %d, outcomes %v; want 3, %v", seen, outcomes, want)
		}
	})
}

// Once the first part is out, the rest follows as soon as it is taken.
func TestThrottledBetweenParts(t *testing.T) {
	inBubble(t, nil, func(t *testing.T, c *centre, l *Link, b *box) {
		n := 0
		throttle := func(times ...int) func(pdu) []pdu {
			n = 0
			return func(p pdu) []pdu {
				n++
				if slices.Contains(times, n) || n > 50 {
					return []pdu{{submitSM | responseBit, statusThrottled, p.sequence, nil}}
				}
				return []pdu{accepted(p, fmt.Sprint(n))}
			}
		}
		long := fmt.Sprintf("%0300d", 1)
		c.set(func() { c.submit = throttle(2, 3) })
		err := l.Send(context.Background(), textTo("a.1.0", long))
		c.set(func() {
			if err != nil || n != 4 {
				t.Errorf("Send = %v with %d tries, want all sent with 4", err, n)
			}
		})
		c.set(func() { c.submit = throttle(2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12) })
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		if err := l.Send(ctx, textTo("a.2.0", long)); carrier.OutcomeOf(err) != carrier.Unknown {
			t.Errorf("half sent: %v, want unknown", err)
		}
		c.set(func() {
			c.submit = func(p pdu) []pdu {
				if n++; n%2 == 0 {
					return []pdu{{submitSM | responseBit, statusInvalidDest, p.sequence, nil}}
				}
				return []pdu{accepted(p, fmt.Sprint("x", n))}
			}
			n = 0
		})
		if err := l.Send(context.Background(), textTo("a.3.0", long)); carrier.OutcomeOf(err) != carrier.Unknown {
			t.Errorf("half refused: %v, want unknown", err)
		}
	})
}

// Our answer to a text is lost with the link: the text comes again on the next
// and has the same id, so that it is stored once. Words that were written twice have two.
func TestTextComesAgain(t *testing.T) {
	var c *centre
	cut := false
	inner := &box{}
	inBubble(t, func(cfg *Config) {
		inner.came = make(chan carrier.Incoming, 10) // within the bubble, or its clock would not move while we wait
		cfg.Accept = func(ctx context.Context, in carrier.Incoming) error {
			if cut { // stored, and before we can answer the link is gone
				cut = false
				c.drop()
				synctest.Wait()
			}
			return inner.accept(ctx, in)
		}
	}, func(t *testing.T, centre *centre, l *Link, _ *box) {
		c = centre
		cut = true
		c.deliver(t, 1, fromPhone("done"))
		first := inner.next(t)
		time.Sleep(10 * time.Second) // the link is up again
		c.deliver(t, 1, fromPhone("done"))
		again := inner.next(t)
		if <-c.answers; again.ID != first.ID {
			t.Errorf("come again, it is %s, was %s", again.ID, first.ID)
		}
		c.deliver(t, 2, fromPhone("done"))
		if other := inner.next(t); other.ID == first.ID {
			t.Errorf("written again, it has the id of the first")
		}
	})
}

// Order is kept: what came first is stored first, however slow the store.
func TestOrderIsKept(t *testing.T) {
	var got []string
	var mu sync.Mutex
	inBubble(t, func(cfg *Config) {
		cfg.Accept = func(_ context.Context, in carrier.Incoming) error {
			time.Sleep(time.Duration(10-len(in.Body)) * 10 * time.Millisecond)
			mu.Lock()
			defer mu.Unlock()
			got = append(got, in.Body)
			return nil
		}
	}, func(t *testing.T, c *centre, l *Link, _ *box) {
		var want []string
		for i := range 9 {
			body := fmt.Sprintf("%0*d", i+1, i)
			want = append(want, body)
			c.deliver(t, uint32(i+1), fromPhone(body))
		}
		for i := range 9 {
			if p := <-c.answers; p.status != statusOK || p.sequence != uint32(i+1) {
				t.Errorf("answer %d: sequence %d, status 0x%02x", i+1, p.sequence, p.status)
			}
		}
		mu.Lock()
		defer mu.Unlock()
		if !slices.Equal(got, want) {
			t.Errorf("stored %v, want %v", got, want)
		}
	})
}

// More than can wait is asked to come again, and the link does not stall.
func TestFloodIsPutOff(t *testing.T) {
	inBubble(t, func(cfg *Config) {
		cfg.Accept = func(ctx context.Context, _ carrier.Incoming) error { <-ctx.Done(); return ctx.Err() } // a store that hangs
	}, func(t *testing.T, c *centre, l *Link, _ *box) {
		c.answers = make(chan pdu, 1000)
		for i := range arrivalsMost + 20 {
			c.deliver(t, uint32(i+1), fromPhone("x"))
		}
		synctest.Wait()
		if n := len(c.answers); n < 19 || n > 20 {
			t.Errorf("%d put off at once, want what the queue does not hold", n)
		}
		if err := l.Send(context.Background(), textTo("a.1.0", "x")); err != nil {
			t.Errorf("Send meanwhile = %v", err)
		}
		time.Sleep(6 * time.Second)
		for len(c.answers) > 0 {
			if p := <-c.answers; p.status != statusTryAgain {
				t.Errorf("answered 0x%02x, want 0x%02x", p.status, statusTryAgain)
			}
		}
		time.Sleep(2 * arrivalsMost * 5 * time.Second)
	})
}

// What is no message at all is refused, and what is no text is still shown to a person.
func TestStrangeDeliveries(t *testing.T) {
	inBubble(t, nil, func(t *testing.T, c *centre, l *Link, b *box) {
		c.mu.Lock()
		conn := c.sessions[0]
		c.mu.Unlock()
		for _, p := range []pdu{{deliverSM, 0, 1, []byte("\x00\x01")}, {0x00000103, 0, 2, nil}} {
			if _, err := conn.Write(p.bytes()); err != nil {
				t.Fatal(err)
			}
		}
		if p := <-c.answers; p.status != statusInvalidLength {
			t.Errorf("answered 0x%02x, want 0x01", p.status)
		}
		m := fromPhone("\x89PNG")
		m.coding = 4
		c.deliver(t, 3, m)
		if in := b.next(t); in.Body != "" || in.Attached != 1 || in.From != "+12025550143" {
			t.Errorf("octets came in as %+v", in)
		}
		national := fromPhone("hi")
		national.from = address{2, 1, "2025550143"}
		c.deliver(t, 4, national)
		if in := b.next(t); in.From != "2025550143" || in.Answerable() {
			t.Errorf("a national number came in as %+v", in)
		}
		if !l.Bound() {
			t.Error("the link was lost over it")
		}
	})
}

func TestDecimalReceipts(t *testing.T) {
	inBubble(t, func(c *Config) { c.DecimalIDs = true }, func(t *testing.T, c *centre, l *Link, b *box) {
		c.set(func() { c.submit = func(p pdu) []pdu { return []pdu{accepted(p, "0A1F")} } })
		if err := l.Send(context.Background(), textTo("a.1.0", "x")); err != nil {
			t.Fatal(err)
		}
		c.deliver(t, 1, message{esm: esmReceipt, short: []byte("id:0000002591 stat:UNDELIV err:1")})
		if in := b.next(t); in.Receipt.Text != "a.1.0" || in.Receipt.Status != carrier.StatusUndelivered {
			t.Errorf("receipt %+v", in.Receipt)
		}
	})
}
