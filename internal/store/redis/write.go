package redisstore

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"github.com/redis/go-redis/v9"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// seenSlack is how much longer than RememberIDs the key of a carrier's id
// stays: the script compares the callers' times, and the server's clock, which
// runs the key down, may be ahead of theirs.
const seenSlack = time.Hour

var (
	rememberMS = store.RememberIDs.Milliseconds()
	keepSeenMS = (store.RememberIDs + seenSlack).Milliseconds()
)

// Accept implements store.Branch.
func (b *Branch) Accept(ctx context.Context, in store.In, now journal.Millis) (bool, error) {
	if err := in.Check(); err != nil {
		return false, err
	}
	n, err := b.run(ctx, acceptScript, []string{b.keys.inbox, b.keys.seen(in.CarrierID)},
		int64(now), rememberMS, keepSeenMS, in.Blob).Int()
	return n == 1, failed("accept", err)
}

// Take implements store.Branch; at most 1000 at once.
func (b *Branch) Take(ctx context.Context, class journal.Class, now, until journal.Millis, n int) ([]store.Out, error) {
	if err := store.CheckClass(class); err != nil {
		return nil, err
	}
	if n <= 0 {
		return nil, b.refused
	}
	reply, err := b.run(ctx, takeScript, []string{b.keys.out[class], b.keys.texts},
		int64(now), int64(until), min(n, maxAtOnce)).Slice()
	if err != nil {
		return nil, failed("take", err)
	}
	if len(reply)%3 != 0 {
		return nil, fmt.Errorf("redis: take: reply of %d values", len(reply))
	}
	var out []store.Out
	for ; len(reply) > 0; reply = reply[3:] {
		id, okID := reply[0].(string)
		text, okText := reply[2].(string)
		score, err := scoreOf(reply[1])
		if !okID || !okText || err != nil {
			return nil, fmt.Errorf("redis: take: reply of %T, %T, %T", reply[0], reply[1], reply[2])
		}
		out = append(out, store.Out{ID: journal.TextID(id), Class: class, NotBefore: journal.Millis(score), Blob: []byte(text)})
	}
	return out, nil
}

// Settle implements store.Branch.
func (b *Branch) Settle(ctx context.Context, s store.Settlement) error {
	if err := s.Check(); err != nil {
		return err
	}
	keys := []string{b.keys.out[s.Class], b.keys.texts}
	args := []any{string(s.ID), int64(s.Later)}
	if s.Report != nil {
		keys = append(keys, b.keys.inbox, b.keys.seen(s.Report.CarrierID))
		args = append(args, int64(s.Now), rememberMS, keepSeenMS, s.Report.Blob)
	}
	return failed("settle "+string(s.ID), b.run(ctx, settleScript, keys, args...).Err())
}

// Commit implements store.Branch.
func (b *Branch) Commit(ctx context.Context, c store.Change) error {
	keys, args, err := b.commitArguments(c)
	if err != nil {
		return err
	}
	n, err := b.run(ctx, commitScript, keys, args...).Int()
	return committed(c, n, err)
}

// CommitAll commits changes in the order given, each whole or not at all, and
// returns an error for each. They travel in one round trip, which costs Redis
// a good deal less than as many calls.
func (b *Branch) CommitAll(ctx context.Context, changes []store.Change) []error {
	errs := make([]error, len(changes))
	left := make([]int, 0, len(changes))
	for i := range changes {
		left = append(left, i)
	}
	// Twice: where Redis does not have the script (it answers NOSCRIPT and has
	// done nothing), it is loaded and what is left is sent again.
	for try := 0; len(left) > 0; try++ {
		left = b.commitAll(ctx, changes, left, errs, try == 0)
		if len(left) > 0 {
			if err := commitScript.Load(ctx, b.client).Err(); err != nil {
				for _, i := range left {
					errs[i] = failed("load the commit script", err)
				}
				return errs
			}
		}
	}
	return errs
}

// commitAll sends the changes named by which and returns those that were not
// tried because Redis did not have the script, if again allows for another try.
func (b *Branch) commitAll(ctx context.Context, changes []store.Change, which []int, errs []error, again bool) []int {
	pipe := b.client.Pipeline()
	sent := make([]*redis.Cmd, len(changes))
	for _, i := range which {
		keys, args, err := b.commitArguments(changes[i])
		if err != nil {
			errs[i] = err
			continue
		}
		sent[i] = pipe.EvalSha(ctx, commitScript.Hash(), keys, args...)
	}
	if pipe.Len() == 0 {
		return nil
	}
	_, _ = pipe.Exec(ctx) // the first of the errors below, each of which is looked at
	var left []int
	for _, i := range which {
		if sent[i] == nil {
			continue
		}
		n, err := sent[i].Int()
		if again && redis.HasErrorPrefix(err, "NOSCRIPT") {
			left = append(left, i)
			continue
		}
		errs[i] = committed(changes[i], n, err)
	}
	return left
}

// committed turns the script's answer into an error.
func committed(c store.Change, n int, err error) error {
	switch {
	case err != nil:
		return failed("commit", err)
	case n == 0:
		return nil
	case n == -1:
		return fmt.Errorf("commit: inbox item %s: %w", c.Token, store.ErrGone)
	case n >= 1 && n <= len(c.Households):
		return fmt.Errorf("commit: household %s: %w", c.Households[n-1].ID, store.ErrStale)
	}
	return fmt.Errorf("redis: commit: the script answered %d", n)
}

// commitArguments lays a change out as scripts/commit.lua reads it.
func (b *Branch) commitArguments(c store.Change) (keys []string, args []any, err error) {
	if b.refused != nil {
		return nil, nil, b.refused
	}
	if err := c.Check(); err != nil {
		return nil, nil, err
	}
	item := ""
	if c.Token != "" {
		if item, err = streamID(c.Token); err != nil {
			return nil, nil, err
		}
	}
	k := &b.keys
	keys = append(make([]string, 0, 11+4*len(c.Households)), k.inbox, k.due, k.queue, k.queueRows,
		k.out[0], k.out[1], k.out[2], k.texts, k.ranks, k.rows, k.revision)
	args = append(make([]any, 0, 32*(1+len(c.Households))), item, len(c.Households), classesOf(c))
	for _, h := range c.Households {
		keys = append(keys, k.state(h.ID), k.journal(h.ID))
		args = append(args, string(h.ID), h.Was, versioned(h), int64(h.Due), rowDo(h.Row), -h.Rank, h.Row,
			len(h.Entries), len(h.Cases), len(h.Withdraw), len(h.Send), len(h.DropPhones), len(h.AddPhones))
	}
	for _, h := range c.Households {
		for _, p := range h.DropPhones {
			keys = append(keys, k.phone(p))
		}
		for _, p := range h.AddPhones {
			keys = append(keys, k.phone(p))
		}
		for _, e := range h.Entries {
			args = append(args, e)
		}
		for _, q := range h.Cases {
			args = append(args, string(q.ID), int64(q.AnswerBy), q.Row != nil, q.Row)
		}
		for _, id := range h.Withdraw {
			args = append(args, string(id))
		}
		for _, o := range h.Send {
			args = append(args, string(o.ID), int(o.Class), int64(o.NotBefore), o.Blob)
		}
	}
	return keys, args, nil
}

// classesOf is the digits of the classes whose texts c may change: a text is
// withdrawn wherever it is.
func classesOf(c store.Change) string {
	var used [journal.Classes]bool
	for _, h := range c.Households {
		for class := range used {
			used[class] = used[class] || len(h.Withdraw) > 0
		}
		for _, o := range h.Send {
			used[o.Class] = true
		}
	}
	digits := ""
	for class, is := range used {
		if is {
			digits += strconv.Itoa(class)
		}
	}
	return digits
}

// versioned is a state as it is kept: "<version>:" and the sealed bytes.
func versioned(h store.HouseholdChange) []byte {
	out := make([]byte, 0, len(h.State)+21)
	out = strconv.AppendInt(out, h.Was+1, 10)
	out = append(out, ':')
	return append(out, h.State...)
}

// rowDo is what the script is to do with a row.
func rowDo(row []byte) int {
	switch {
	case row == nil:
		return 0
	case len(row) == 0:
		return 2
	}
	return 1
}
