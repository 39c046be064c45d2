// Package mem is the store in plain maps: for the demo, the simulator and
// tests. It means exactly what store/redis means (one conformance suite runs
// on both), is as deterministic as the clock it is given, and keeps nothing
// when the process ends.
package mem

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"sync"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// Store is a memory store. One mutex guards it all: what is kept of one branch
// must change together, and nothing here is slow.
type Store struct {
	clock    func() time.Time
	mu       sync.Mutex
	branches map[journal.BranchID]*branch
}

var (
	_ store.Store  = (*Store)(nil)
	_ store.Branch = (*branch)(nil)
)

// New returns an empty store. clock tells the store's own time, from which
// Now answers and leases run out; it must be safe for concurrent use.
func New(clock func() time.Time) *Store {
	return &Store{clock: clock, branches: map[journal.BranchID]*branch{}}
}

// Branch opens a branch; it comes into being with its first write. With an id
// that store.CheckBranch refuses, every method returns that error.
func (s *Store) Branch(id journal.BranchID) store.Branch {
	s.mu.Lock()
	defer s.mu.Unlock()
	b := s.branches[id]
	if b == nil {
		b = newBranch(s, id)
		if b.refused == nil {
			s.branches[id] = b
		}
	}
	return b
}

// Ping is nil unless ctx is over.
func (s *Store) Ping(ctx context.Context) error { return ctx.Err() }

// Close forgets nothing: a branch that is still held goes on answering.
func (s *Store) Close() error { return nil }

type branch struct {
	store   *Store
	refused error // what is wrong with its id

	inbox    *order // token -> position
	items    map[string]store.Item
	accepted int64 // counts accepted items; the next token
	seen     map[string]journal.Millis
	swept    journal.Millis // when seen was last cleared of what is too old

	households map[journal.HouseholdID]*household
	phones     map[journal.PhoneKey]map[journal.HouseholdID]bool
	due        *order
	queue      *order
	cases      map[string][]byte
	outbox     [journal.Classes]*order
	texts      map[journal.TextID]text
	ranks      *order // by the negative of rank, so that the highest comes first
	rows       map[string][]byte

	revision int64
	holder   string
	until    time.Time
	round    journal.Millis
}

type household struct {
	version int64
	state   []byte
	journal [][]byte
}

type text struct {
	class journal.Class
	blob  []byte
}

func newBranch(s *Store, id journal.BranchID) *branch {
	b := &branch{
		store:      s,
		refused:    store.CheckBranch(id),
		inbox:      newOrder(),
		items:      map[string]store.Item{},
		seen:       map[string]journal.Millis{},
		households: map[journal.HouseholdID]*household{},
		phones:     map[journal.PhoneKey]map[journal.HouseholdID]bool{},
		due:        newOrder(),
		queue:      newOrder(),
		cases:      map[string][]byte{},
		texts:      map[journal.TextID]text{},
		ranks:      newOrder(),
		rows:       map[string][]byte{},
	}
	for c := range b.outbox {
		b.outbox[c] = newOrder()
	}
	return b
}

// enter takes the lock, unless the call is over before it began.
func (b *branch) enter(ctx context.Context) (leave func(), err error) {
	if b.refused != nil {
		return nil, b.refused
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("memory store: %w", err)
	}
	b.store.mu.Lock()
	return b.store.mu.Unlock, nil
}

func (b *branch) Now(ctx context.Context) (time.Time, error) {
	leave, err := b.enter(ctx)
	if err != nil {
		return time.Time{}, err
	}
	defer leave()
	return b.store.clock().UTC().Truncate(time.Millisecond), nil
}

func (b *branch) Hold(ctx context.Context, holder string, ttl time.Duration, round journal.Millis) (bool, error) {
	if err := store.CheckLease(holder, ttl.Milliseconds()); err != nil {
		return false, err
	}
	leave, err := b.enter(ctx)
	if err != nil {
		return false, err
	}
	defer leave()
	now := b.store.clock()
	if b.holder != "" && b.holder != holder && now.Before(b.until) {
		return false, nil
	}
	b.holder, b.until = holder, now.Add(ttl)
	if round != 0 {
		b.round = round
	}
	return true, nil
}

func (b *branch) Release(ctx context.Context, holder string) error {
	leave, err := b.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	if b.holder == holder {
		b.holder = ""
	}
	return nil
}

func (b *branch) Pulse(ctx context.Context) (store.Pulse, error) {
	leave, err := b.enter(ctx)
	if err != nil {
		return store.Pulse{}, err
	}
	defer leave()
	p := store.Pulse{Revision: b.revision, Round: b.round, Inbox: b.inbox.len(), Cases: b.queue.len()}
	for c := range b.outbox {
		p.Outbox[c] = b.outbox[c].len()
	}
	return p, nil
}

func (b *branch) Load(ctx context.Context, id journal.HouseholdID) (store.Stored, error) {
	leave, err := b.enter(ctx)
	if err != nil {
		return store.Stored{}, err
	}
	defer leave()
	h := b.households[id]
	if h == nil {
		return store.Stored{}, nil
	}
	return store.Stored{Version: h.version, State: slices.Clone(h.state)}, nil
}

func (b *branch) Find(ctx context.Context, phone journal.PhoneKey) ([]journal.HouseholdID, error) {
	leave, err := b.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	var ids []journal.HouseholdID
	for id := range b.phones[phone] {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids, nil
}

func (b *branch) Journal(ctx context.Context, id journal.HouseholdID, from int64, n int) ([][]byte, error) {
	leave, err := b.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	h := b.households[id]
	if h == nil || n <= 0 {
		return nil, nil
	}
	size := int64(len(h.journal))
	if from < 0 {
		from = max(0, size+from)
	}
	if from >= size {
		return nil, nil
	}
	var out [][]byte
	for _, e := range h.journal[from:min(size, from+int64(min(n, len(h.journal))))] {
		out = append(out, slices.Clone(e))
	}
	return out, nil
}

func (b *branch) Due(ctx context.Context, until journal.Millis, n int) ([]journal.HouseholdID, error) {
	leave, err := b.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	var ids []journal.HouseholdID
	for _, p := range b.due.upTo(int64(until), n) {
		ids = append(ids, journal.HouseholdID(p.id))
	}
	return ids, nil
}

func (b *branch) Queue(ctx context.Context, n int) ([]store.Case, int, error) {
	leave, err := b.enter(ctx)
	if err != nil {
		return nil, 0, err
	}
	defer leave()
	var out []store.Case
	for _, p := range b.queue.page(0, n) {
		out = append(out, store.Case{ID: journal.CaseID(p.id), AnswerBy: journal.Millis(p.score), Row: slices.Clone(b.cases[p.id])})
	}
	return out, b.queue.len(), nil
}

func (b *branch) Rows(ctx context.Context, from, n int) ([]store.Row, int, error) {
	leave, err := b.enter(ctx)
	if err != nil {
		return nil, 0, err
	}
	defer leave()
	var out []store.Row
	for _, p := range b.ranks.page(max(0, from), n) {
		out = append(out, store.Row{ID: journal.HouseholdID(p.id), Rank: -p.score, Row: slices.Clone(b.rows[p.id])})
	}
	return out, b.ranks.len(), nil
}

// token renders a position so that tokens sort as positions do.
func token(position int64) string { return fmt.Sprintf("%016x", position) }

// position reads a token back; a token that is none of ours is an error, never
// the beginning.
func position(t store.Token) (int64, error) {
	n, err := strconv.ParseInt(string(t), 16, 64)
	if err != nil || len(t) != 16 {
		return 0, fmt.Errorf("%w inbox token %q", store.ErrMalformed, t)
	}
	return n, nil
}
