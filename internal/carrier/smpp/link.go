package smpp

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	"hearthline/internal/carrier"
)

// Link is a carrier over SMPP. Run, called once, keeps it up; Send may be called
// from any goroutine, and is Busy while the link is not up.
type Link struct {
	cfg    Config
	window chan struct{} // holds a token for each unanswered part
	ids    *sentIDs
	in     *inbound

	mu   sync.Mutex
	live *session // nil while not bound
	ref  int      // of the last long text sent
}

// New checks the configuration; an error names the field.
func New(cfg Config) (*Link, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	l := &Link{cfg: cfg, window: make(chan struct{}, cfg.Window), ids: newSentIDs(cfg.DecimalIDs)}
	l.in = newInbound(&l.cfg, l.ids)
	return l, nil
}

// Idempotent is false: a message centre sends what it is given as often as it is given it.
func (l *Link) Idempotent() bool { return false }

// Bound reports whether texts can go out now.
func (l *Link) Bound() bool { return l.session() != nil }

func (l *Link) session() *session {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.live
}

// Run connects, binds, and does so again after every loss, backing off, until
// ctx ends; then it unbinds and returns nil.
func (l *Link) Run(ctx context.Context) error {
	var handlers sync.WaitGroup
	defer handlers.Wait()
	stop, cancel := context.WithCancel(context.Background())
	defer cancel()
	handlers.Go(func() { l.in.run(stop) })
	for failed := 0; ctx.Err() == nil; {
		held, err := l.once(ctx)
		if ctx.Err() != nil {
			return nil
		}
		if failed++; held {
			failed = 1
		}
		l.cfg.Note(noteOf(err))
		timer := time.NewTimer(carrier.Backoff(failed, l.cfg.Jitter()))
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
		}
	}
	return nil
}

var errBind = errors.New("the centre refused the bind")

func noteOf(err error) string {
	switch {
	case errors.Is(err, errBind):
		return NoteRefused
	case errors.Is(err, errLost):
		return NoteLost
	}
	return NoteUnreachable
}

// once holds one connection until it ends; held says that it was bound.
func (l *Link) once(ctx context.Context) (held bool, err error) {
	dialing, cancel := context.WithTimeout(ctx, l.cfg.AnswerIn)
	defer cancel()
	conn, err := l.cfg.Dial(dialing, "tcp", l.cfg.Address)
	if err != nil {
		return false, fmt.Errorf("connect to the centre: %w", err)
	}
	if l.cfg.TLS != nil {
		if conn, err = secure(dialing, conn, l.cfg.TLS, l.cfg.Address); err != nil {
			return false, err
		}
	}
	s := newSession(conn, l.cfg.AnswerIn, l.cfg.Enquire)
	s.onResponse = func(t *ticket, p pdu) {
		if r := l.ids.answered(t, p); r != nil {
			l.in.receipt(*r)
		}
	}
	s.onDeliver = func(p pdu) { l.in.take(s, p) }
	var running sync.WaitGroup
	defer running.Wait()
	defer s.end(errors.New("we ended the link"))
	running.Go(s.read)
	t, err := s.request(bindTransceiver, bindBody(l.cfg.SystemID, l.cfg.Password, l.cfg.SystemType), nil)
	if err != nil {
		return false, fmt.Errorf("bind: %w", err)
	}
	answer, err := s.wait(ctx, t)
	if err != nil {
		return false, fmt.Errorf("bind: %w", err)
	}
	if answer.command != bindTransceiver|responseBit || answer.status != statusOK {
		return false, fmt.Errorf("%w with status 0x%02X", errBind, answer.status)
	}
	running.Go(s.keepAlive)
	l.up(s)
	defer l.up(nil)
	l.cfg.Note(NoteBound)
	select {
	case <-s.ended:
		return true, errLost
	case <-ctx.Done():
	}
	l.up(nil) // nothing more goes out; what is under way may still be answered
	if t, err := s.request(unbind, nil, nil); err == nil {
		_, _ = s.wait(context.Background(), t) // the connection ends either way
	}
	return true, nil
}

// secure puts TLS on a connection; the name to be proven is the address's, where none is configured.
func secure(ctx context.Context, conn net.Conn, cfg *tls.Config, address string) (net.Conn, error) {
	cfg = cfg.Clone()
	if cfg.ServerName == "" {
		cfg.ServerName, _, _ = net.SplitHostPort(address) // checked with the configuration
	}
	secured := tls.Client(conn, cfg)
	if err := secured.HandshakeContext(ctx); err != nil {
		_ = conn.Close() // the handshake's error says what matters
		return nil, fmt.Errorf("secure the link: %w", err)
	}
	return secured, nil
}

func (l *Link) up(s *session) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.live = s
}

// Send hands one text over, in parts if it is long, and returns when the
// centre has answered for each.
func (l *Link) Send(ctx context.Context, t carrier.Text) error {
	coding, parts := encode(t.Body)
	if len(parts) > partsMost {
		return &carrier.Refusal{Why: fmt.Sprintf("it needs %d parts; at most %d are sent", len(parts), partsMost)}
	}
	m := message{from: l.addressOf(t.From), to: l.addressOf(t.To), receipt: 1, coding: coding}
	if m.to.number == "" || len(m.to.number) > 20 || len(m.from.number) > 20 {
		return &carrier.Refusal{Why: "a number is missing or longer than 20 characters"}
	}
	s := l.session()
	if s == nil {
		return &carrier.Busy{Why: "the link is not up"}
	}
	text := &sent{id: t.ID, parts: len(parts)}
	if len(parts) > 1 {
		m.esm = esmUDHI
	}
	ref := l.nextRef(len(parts))
	for i, octets := range parts {
		if m.short = octets; len(parts) > 1 {
			m.short = withHeader(ref, len(parts), i+1, octets)
		}
		if err := l.part(ctx, s, m.bytes(), text, i > 0); err != nil {
			return err
		}
	}
	return nil
}

// partsMost bounds a text out; ours fit two.
const partsMost = 10

func (l *Link) nextRef(parts int) int {
	if parts < 2 {
		return 0
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ref = (l.ref + 1) & 0xFF
	return l.ref
}

// part hands one part over. Once a first part is with the centre the text is
// half sent: a later part that it does not take now is tried again until ctx
// ends, and what remains undone is unknown, never Busy.
func (l *Link) part(ctx context.Context, s *session, body []byte, text *sent, begun bool) error {
	for attempt := 1; ; attempt++ {
		err := l.submit(ctx, s, body, text)
		var busy *carrier.Busy
		if err == nil || !begun {
			return err
		}
		if !errors.As(err, &busy) || s.over() {
			return fmt.Errorf("a part of the text was sent, not all: %s", err.Error())
		}
		timer := time.NewTimer(max(busy.After, carrier.Backoff(attempt, l.cfg.Jitter())))
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return fmt.Errorf("a part of the text was sent, not all: %w", ctx.Err())
		}
	}
}

func (s *session) over() bool {
	select {
	case <-s.ended:
		return true
	default:
		return false
	}
}

func (l *Link) submit(ctx context.Context, s *session, body []byte, text *sent) error {
	select {
	case l.window <- struct{}{}:
		defer func() { <-l.window }()
	case <-ctx.Done():
		return &carrier.Busy{Why: "the window was full until time was up"}
	case <-s.ended:
		return &carrier.Busy{Why: "the link was lost before the text was sent"}
	}
	t, err := s.request(submitSM, body, text)
	if t == nil {
		return &carrier.Busy{Why: "the link was lost before the text was sent"}
	}
	if err != nil {
		return fmt.Errorf("%w while the text was sent", errLost)
	}
	answer, err := s.wait(ctx, t)
	if err != nil {
		return fmt.Errorf("submit: %w", err)
	}
	return statusError(answer)
}

// throttledWait is how long a sending number is held back after the centre
// said "too fast"; it gives no time itself. Common practice, no source.
const throttledWait = time.Second

// statusError reads the status of a response. The centre has taken the text
// only at 0; what is not known to be lasting may be tried again.
func statusError(p pdu) error {
	why := fmt.Sprintf("the centre answered with status 0x%02X", p.status)
	switch p.status {
	case statusOK:
		if p.command != submitSM|responseBit {
			return errors.New("the centre's answer is not to a text")
		}
		return nil
	case statusThrottled, statusQueueFull:
		return &carrier.Busy{After: throttledWait, Why: why + ", too fast"}
	case statusInvalidDest, statusInvalidLength, statusNeverAgain:
		return &carrier.Refusal{Why: why}
	}
	return &carrier.Busy{Why: why}
}

// Types and plans of numbers (sections 5.2.5, 5.2.6).
const (
	tonInternational = 1
	tonAlphanumeric  = 5
	npiISDN          = 1
)

func (l *Link) addressOf(number string) address {
	if digits, ok := strings.CutPrefix(number, "+"); ok {
		return address{tonInternational, npiISDN, digits}
	}
	for _, r := range number {
		if r < '0' || r > '9' {
			return address{tonAlphanumeric, 0, number}
		}
	}
	return address{l.cfg.ShortTON, 0, number}
}
