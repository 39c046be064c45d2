package smpp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"
)

// session is one connection, from its bind to its end.
type session struct {
	conn     net.Conn
	answerIn time.Duration
	enquire  time.Duration

	onResponse func(t *ticket, p pdu) // in the reader's goroutine, before the waiter hears of it
	onDeliver  func(p pdu)            // must not block

	ended chan struct{} // closed once the connection is of no use

	mu      sync.Mutex
	last    uint32
	pending map[uint32]*ticket
	why     error

	write sync.Mutex
}

// ticket waits for the response to one request.
type ticket struct {
	answered chan pdu // holds one
	text     *sent    // of a submit_sm
}

// pendingMost bounds the requests whose answers are still hoped for, late ones too.
const pendingMost = 2000

var errLost = errors.New("the link was lost before the answer came")

func newSession(conn net.Conn, answerIn, enquire time.Duration) *session {
	return &session{conn: conn, answerIn: answerIn, enquire: enquire, ended: make(chan struct{}), pending: map[uint32]*ticket{}}
}

// end closes the connection for a reason, the first of which is kept.
func (s *session) end(why error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.why == nil {
		s.why = why
		close(s.ended)
		_ = s.conn.Close() // nothing more is to be had from it
	}
}

func (s *session) send(p pdu) error {
	s.write.Lock()
	defer s.write.Unlock()
	_ = s.conn.SetWriteDeadline(time.Now().Add(s.answerIn)) // a connection that cannot be limited fails at the write
	if _, err := s.conn.Write(p.bytes()); err != nil {
		s.end(err)
		return err
	}
	return nil
}

// request sends a PDU that is answered, and returns the ticket for its answer:
// nil if it certainly did not reach the centre.
func (s *session) request(command uint32, body []byte, text *sent) (t *ticket, err error) {
	s.mu.Lock()
	if s.why != nil || len(s.pending) >= pendingMost {
		s.mu.Unlock()
		return nil, errLost
	}
	s.last++
	if s.last > 0x7FFFFFFF { // section 3.2
		s.last = 1
	}
	sequence := s.last
	t = &ticket{answered: make(chan pdu, 1), text: text}
	s.pending[sequence] = t
	s.mu.Unlock()
	return t, s.send(pdu{command, statusOK, sequence, body})
}

// wait returns the response to a request.
func (s *session) wait(ctx context.Context, t *ticket) (pdu, error) {
	timer := time.NewTimer(s.answerIn)
	defer timer.Stop()
	select {
	case p := <-t.answered:
		return p, nil
	case <-s.ended:
		select { // it may have come just before the end
		case p := <-t.answered:
			return p, nil
		default:
		}
		return pdu{}, errLost
	case <-timer.C:
		return pdu{}, fmt.Errorf("no answer within %s", s.answerIn)
	case <-ctx.Done():
		return pdu{}, ctx.Err()
	}
}

// read handles what comes until the connection ends. A link on which nothing
// comes for as long as an enquire_link and its answer may take is dead, however
// open it looks.
func (s *session) read() {
	for {
		_ = s.conn.SetReadDeadline(time.Now().Add(s.enquire + s.answerIn)) // a connection that cannot be limited fails at the read
		p, err := readPDU(s.conn)
		if err != nil {
			s.end(err)
			return
		}
		switch {
		case p.command&responseBit != 0:
			s.respond(p)
		case p.command == deliverSM:
			s.onDeliver(p)
		case p.command == enquireLink:
			_ = s.send(pdu{enquireLink | responseBit, statusOK, p.sequence, nil}) // a failed write has ended the session
		case p.command == unbind:
			_ = s.send(pdu{unbind | responseBit, statusOK, p.sequence, nil}) // as above
			s.end(errors.New("the centre ended the link"))
			return
		default:
			_ = s.send(pdu{genericNack, statusInvalidID, p.sequence, nil}) // as above
		}
	}
}

func (s *session) respond(p pdu) {
	s.mu.Lock()
	t := s.pending[p.sequence]
	delete(s.pending, p.sequence)
	s.mu.Unlock()
	if t == nil {
		return
	}
	if s.onResponse != nil {
		s.onResponse(t, p)
	}
	t.answered <- p
}

// keepAlive asks a silent centre whether it is there, until the session ends.
func (s *session) keepAlive() {
	tick := time.NewTicker(s.enquire)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			if _, err := s.request(enquireLink, nil, nil); err != nil {
				s.end(err)
				return
			}
		case <-s.ended:
			return
		}
	}
}
