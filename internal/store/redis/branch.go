package redisstore

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// Branch is one branch in Redis.
type Branch struct {
	client  redis.UniversalClient
	keys    keys
	refused error // what is wrong with its id
}

// maxAtOnce bounds what one call reads or takes, so that no call keeps Redis
// from everyone else; more is to be had by calling again.
const maxAtOnce = 1000

// failed adds what was being done. A nil error stays nil.
func failed(what string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("redis: %s: %w", what, err)
}

// run runs a script; where Redis does not have it yet, it is sent along.
func (b *Branch) run(ctx context.Context, s *redis.Script, keys []string, args ...any) *redis.Cmd {
	if b.refused != nil {
		cmd := redis.NewCmd(ctx)
		cmd.SetErr(b.refused)
		return cmd
	}
	return s.Run(ctx, b.client, keys, args...)
}

// Now is Redis's TIME.
func (b *Branch) Now(ctx context.Context) (time.Time, error) {
	if b.refused != nil {
		return time.Time{}, b.refused
	}
	t, err := b.client.Time(ctx).Result()
	if err != nil {
		return time.Time{}, failed("time", err)
	}
	return t.UTC().Truncate(time.Millisecond), nil
}

// Inbox implements store.Branch.
func (b *Branch) Inbox(ctx context.Context, after store.Token, n int) ([]store.Item, error) {
	from := "-"
	if after != "" {
		id, err := streamID(after)
		if err != nil {
			return nil, err
		}
		from = "(" + id
	}
	if b.refused != nil || n <= 0 {
		return nil, b.refused
	}
	found, err := b.client.XRangeN(ctx, b.keys.inbox, from, "+", int64(min(n, maxAtOnce))).Result()
	if err != nil {
		return nil, failed("inbox", err)
	}
	items := make([]store.Item, 0, len(found))
	for _, m := range found {
		token, err := tokenOf(m.ID)
		if err != nil {
			return nil, failed("inbox", err)
		}
		got, okGot := m.Values["g"].(string)
		blob, okBlob := m.Values["b"].(string)
		at, err := strconv.ParseInt(got, 10, 64)
		if !okGot || !okBlob || err != nil {
			return nil, fmt.Errorf("redis: inbox item %s: wants the fields g, Unix ms, and b", m.ID)
		}
		items = append(items, store.Item{Token: token, Got: journal.Millis(at), Blob: []byte(blob)})
	}
	return items, nil
}

// tokenOf renders a stream id, "<ms>-<n>", with a fixed width, so that tokens
// sort as the items came.
func tokenOf(id string) (store.Token, error) {
	ms, n, _ := strings.Cut(id, "-")
	hi, errHi := strconv.ParseUint(ms, 10, 64)
	lo, errLo := strconv.ParseUint(n, 10, 64)
	if errHi != nil || errLo != nil {
		return "", fmt.Errorf("stream id %q is not of two numbers", id)
	}
	return store.Token(fmt.Sprintf("%016x-%016x", hi, lo)), nil
}

// streamID reads a token back; one that is none of ours is an error, never
// the beginning.
func streamID(t store.Token) (string, error) {
	ms, n, _ := strings.Cut(string(t), "-")
	hi, errHi := strconv.ParseUint(ms, 16, 64)
	lo, errLo := strconv.ParseUint(n, 16, 64)
	if errHi != nil || errLo != nil || len(t) != 33 {
		return "", fmt.Errorf("%w inbox token %q", store.ErrMalformed, t)
	}
	return strconv.FormatUint(hi, 10) + "-" + strconv.FormatUint(lo, 10), nil
}

// Due implements store.Branch.
func (b *Branch) Due(ctx context.Context, until journal.Millis, n int) ([]journal.HouseholdID, error) {
	if b.refused != nil || n <= 0 {
		return nil, b.refused
	}
	found, err := b.client.ZRangeByScore(ctx, b.keys.due, &redis.ZRangeBy{
		Min: "-inf", Max: strconv.FormatInt(int64(until), 10), Count: int64(min(n, maxAtOnce)),
	}).Result()
	if err != nil {
		return nil, failed("due", err)
	}
	ids := make([]journal.HouseholdID, len(found))
	for i, id := range found {
		ids[i] = journal.HouseholdID(id)
	}
	return ids, nil
}

// Load implements store.Branch.
func (b *Branch) Load(ctx context.Context, id journal.HouseholdID) (store.Stored, error) {
	if b.refused != nil {
		return store.Stored{}, b.refused
	}
	kept, err := b.client.Get(ctx, b.keys.state(id)).Result()
	if errors.Is(err, redis.Nil) {
		return store.Stored{}, nil
	}
	if err != nil {
		return store.Stored{}, failed("load "+string(id), err)
	}
	version, state, ok := strings.Cut(kept, ":")
	n, err := strconv.ParseInt(version, 10, 64)
	if !ok || err != nil || n < 1 {
		return store.Stored{}, fmt.Errorf("redis: load %s: what is kept does not begin with a version and a colon", id)
	}
	return store.Stored{Version: n, State: []byte(state)}, nil
}

// Find implements store.Branch.
func (b *Branch) Find(ctx context.Context, phone journal.PhoneKey) ([]journal.HouseholdID, error) {
	if b.refused != nil {
		return nil, b.refused
	}
	found, err := b.client.SMembers(ctx, b.keys.phone(phone)).Result()
	if err != nil {
		return nil, failed("find a phone", err)
	}
	ids := make([]journal.HouseholdID, len(found))
	for i, id := range found {
		ids[i] = journal.HouseholdID(id)
	}
	slices.Sort(ids)
	return ids, nil
}

// Journal implements store.Branch.
func (b *Branch) Journal(ctx context.Context, id journal.HouseholdID, from int64, n int) ([][]byte, error) {
	if n <= 0 {
		return nil, b.refused
	}
	found, err := b.run(ctx, journalScript, []string{b.keys.journal(id)}, from, min(n, 1<<30)).Slice()
	if err != nil {
		return nil, failed("journal of "+string(id), err)
	}
	entries := make([][]byte, len(found))
	for i, e := range found {
		s, ok := e.(string)
		if !ok {
			return nil, fmt.Errorf("redis: journal of %s: entry is a %T", id, e)
		}
		entries[i] = []byte(s)
	}
	return entries, nil
}

// Queue implements store.Branch.
func (b *Branch) Queue(ctx context.Context, n int) ([]store.Case, int, error) {
	var out []store.Case
	all, err := b.page(ctx, b.keys.queue, b.keys.queueRows, 0, n, func(id string, score int64, row []byte) {
		out = append(out, store.Case{ID: journal.CaseID(id), AnswerBy: journal.Millis(score), Row: row})
	})
	return out, all, failed("queue", err)
}

// Rows implements store.Branch.
func (b *Branch) Rows(ctx context.Context, from, n int) ([]store.Row, int, error) {
	var out []store.Row
	all, err := b.page(ctx, b.keys.ranks, b.keys.rows, from, n, func(id string, score int64, row []byte) {
		out = append(out, store.Row{ID: journal.HouseholdID(id), Rank: -score, Row: row})
	})
	return out, all, failed("rows", err)
}

// page reads a stretch of a ranking. A row that is missing comes as nil: a case
// that cannot be read must still be seen to be there.
func (b *Branch) page(ctx context.Context, ranking, rows string, from, n int, each func(id string, score int64, row []byte)) (int, error) {
	reply, err := b.run(ctx, pageScript, []string{ranking, rows}, max(0, from), max(0, n)).Slice()
	if err != nil {
		return 0, err
	}
	if len(reply) == 0 {
		return 0, errors.New("empty reply")
	}
	all, ok := reply[0].(int64)
	if !ok || len(reply)%3 != 1 {
		return 0, fmt.Errorf("reply of %d values begins with a %T", len(reply), reply[0])
	}
	for r := reply[1:]; len(r) > 0; r = r[3:] {
		id, _ := r[0].(string)
		score, err := scoreOf(r[1])
		if err != nil {
			return 0, err
		}
		var row []byte
		if s, ok := r[2].(string); ok {
			row = []byte(s)
		}
		each(id, score, row)
	}
	return int(all), nil
}

// scoreOf reads a score, which Redis keeps as a float and prints as one.
func scoreOf(reply any) (int64, error) {
	s, _ := reply.(string)
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, fmt.Errorf("score: %w", err)
	}
	return int64(f), nil
}

// Hold implements store.Branch.
func (b *Branch) Hold(ctx context.Context, holder string, ttl time.Duration, round journal.Millis) (bool, error) {
	if err := store.CheckLease(holder, ttl.Milliseconds()); err != nil {
		return false, err
	}
	n, err := b.run(ctx, holdScript, []string{b.keys.lease, b.keys.round}, holder, ttl.Milliseconds(), int64(round)).Int()
	return n == 1, failed("hold the lease", err)
}

// Release implements store.Branch.
func (b *Branch) Release(ctx context.Context, holder string) error {
	return failed("release the lease", b.run(ctx, releaseScript, []string{b.keys.lease}, holder).Err())
}

// Pulse implements store.Branch.
func (b *Branch) Pulse(ctx context.Context) (store.Pulse, error) {
	k := &b.keys
	reply, err := b.run(ctx, pulseScript, []string{k.revision, k.round, k.inbox, k.queue, k.out[0], k.out[1], k.out[2]}).Int64Slice()
	if err != nil {
		return store.Pulse{}, failed("pulse", err)
	}
	if len(reply) != 7 {
		return store.Pulse{}, fmt.Errorf("redis: pulse: reply of %d values, wants 7", len(reply))
	}
	p := store.Pulse{Revision: reply[0], Round: journal.Millis(reply[1]), Inbox: int(reply[2]), Cases: int(reply[3])}
	for c := range p.Outbox {
		p.Outbox[c] = int(reply[4+c])
	}
	return p, nil
}
