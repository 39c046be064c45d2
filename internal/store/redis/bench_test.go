package redisstore

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// bare writes what commit.lua writes for a prompt that fell due: the same
// write commands on the same keys with the same bytes, and no logic at all: no
// version looked at, no type, no loop.
var bare = redis.NewScript(`
redis.call('INCR', KEYS[8])
redis.call('SET', KEYS[1], ARGV[2])
redis.call('ZADD', KEYS[3], ARGV[3], ARGV[1])
redis.call('ZADD', KEYS[4], ARGV[4], ARGV[1])
redis.call('HSET', KEYS[5], ARGV[1], ARGV[5])
redis.call('RPUSH', KEYS[2], ARGV[6])
redis.call('HSETNX', KEYS[7], ARGV[7], ARGV[9])
redis.call('ZADD', KEYS[6], ARGV[8], ARGV[7])
return 0`)

const benchHouseholds = 20_000

// prompt is the change of a household whose prompt fell due: 1,000 bytes of
// state, an entry of 300, a text of 300 and a row of 200.
func prompt(i int, was int64) store.HouseholdChange {
	id := journal.HouseholdID(fmt.Sprintf("maple-%d", i))
	return store.HouseholdChange{
		ID: id, Was: was, State: benchBytes[:1000], Entries: [][]byte{benchBytes[:300]}, Due: noon + journal.Millis(was), Rank: was % 5, Row: benchBytes[:200],
		Send: []store.Out{{ID: journal.TextID(journal.MakeID(id, was+1, 0)), Class: journal.ClassReminder, NotBefore: noon, Blob: benchBytes[:300]}},
	}
}

var benchBytes = []byte(strings.Repeat("sealed. ", 125))

// side is one of the two that are compared, on a branch of its own.
type side struct {
	name   string
	branch *Branch
	was    []int64
	commit func(b *Branch, hs []store.HouseholdChange) error
	rates  []float64
	cpu    float64 // microseconds of the server's processor for each prompt, over all blocks
}

// cpuOf is the processor time that the server has had, in microseconds.
func cpuOf(b *testing.B, c redis.UniversalClient) float64 {
	info, err := c.Info(context.Background(), "cpu").Result()
	if err != nil {
		b.Fatal(err)
	}
	var sum float64
	for line := range strings.Lines(info) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), ":")
		if name == "used_cpu_sys" || name == "used_cpu_user" {
			seconds, err := strconv.ParseFloat(value, 64)
			if err != nil {
				b.Fatal(err)
			}
			sum += seconds * 1e6
		}
	}
	return sum
}

func ours(b *Branch, hs []store.HouseholdChange) error {
	if len(hs) == 1 {
		return b.Commit(context.Background(), store.Change{Households: hs})
	}
	changes := make([]store.Change, len(hs))
	for i := range hs {
		changes[i].Households = hs[i : i+1]
	}
	for _, err := range b.CommitAll(context.Background(), changes) {
		if err != nil {
			return err
		}
	}
	return nil
}

func theirs(b *Branch, hs []store.HouseholdChange) error {
	ctx := context.Background()
	k := &b.keys
	arguments := func(h store.HouseholdChange) ([]string, []any) {
		o := h.Send[0]
		return []string{k.state(h.ID), k.journal(h.ID), k.due, k.ranks, k.rows, k.out[o.Class], k.texts, k.revision},
			[]any{string(h.ID), versioned(h), int64(h.Due), -h.Rank, h.Row, h.Entries[0], string(o.ID), int64(o.NotBefore), o.Blob}
	}
	if len(hs) == 1 {
		keys, args := arguments(hs[0])
		return bare.Run(ctx, b.client, keys, args...).Err()
	}
	pipe := b.client.Pipeline()
	for _, h := range hs {
		keys, args := arguments(h)
		pipe.EvalSha(ctx, bare.Hash(), keys, args...)
	}
	_, err := pipe.Exec(ctx)
	return err
}

// block commits n prompts from workers at once, batch a call, and notes the rate.
func (s *side) block(b *testing.B, n, workers, batch int) {
	before, start := cpuOf(b, s.branch.client), time.Now()
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := w * batch; i < n; i += workers * batch {
				hs := make([]store.HouseholdChange, 0, batch)
				for j := i; j < min(i+batch, n); j++ {
					at := j % benchHouseholds
					hs = append(hs, prompt(at, s.was[at]))
					s.was[at]++
				}
				if err := s.commit(s.branch, hs); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	s.rates = append(s.rates, float64(n)/time.Since(start).Seconds())
	s.cpu += (cpuOf(b, s.branch.client) - before) / float64(n)
}

// BenchmarkCommitAgainstBare prints commits a second, the bare script's rate in
// the same run (blocks of the two by turns, appendfsync always) and the ratio:
// medians, and the lowest and highest ratio of neighbouring blocks. cpu-ratio is
// the same told in the server's processor time, which a busy machine disturbs
// less. One iteration is one pair of blocks: run it with -benchtime=40x.
func BenchmarkCommitAgainstBare(b *testing.B) {
	for _, c := range []struct {
		name              string
		n, workers, batch int
	}{{"1 goroutine", 500, 1, 1}, {"64 goroutines", 3000, 64, 1}, {"8 goroutines, 16 a pipeline", 4000, 8, 16}} {
		b.Run(c.name, func(b *testing.B) {
			s := opened(b, own(b, b.TempDir()))
			for _, script := range []*redis.Script{bare, commitScript} {
				if err := script.Load(context.Background(), s.client).Err(); err != nil {
					b.Fatal(err)
				}
			}
			sides := []*side{{name: "ours", commit: ours}, {name: "bare", commit: theirs}}
			for _, x := range sides {
				x.branch, x.was = s.branch(journal.BranchID(x.name)), make([]int64, benchHouseholds)
				x.block(b, c.n, c.workers, c.batch) // warms up
				x.rates, x.cpu = nil, 0
			}
			var ratios []float64
			for i := 0; b.Loop(); i++ {
				first, second := sides[i%2], sides[(i+1)%2] // by turns, so that drift falls on both
				first.block(b, c.n, c.workers, c.batch)
				second.block(b, c.n, c.workers, c.batch)
				ratios = append(ratios, sides[0].rates[i]/sides[1].rates[i])
			}
			b.ReportMetric(median(sides[0].rates), "commits/s")
			b.ReportMetric(median(sides[1].rates), "bare/s")
			b.ReportMetric(median(ratios), "ratio")
			b.ReportMetric(sides[1].cpu/sides[0].cpu, "cpu-ratio")
			b.ReportMetric(sides[0].cpu/float64(len(ratios)), "redis-us/commit")
			b.ReportMetric(slices.Min(ratios), "ratio-min")
			b.ReportMetric(slices.Max(ratios), "ratio-max")
			b.ReportMetric(0, "ns/op") // of a pair of blocks: says nothing
		})
	}
}

// BenchmarkAccept prints texts accepted a second from 64 goroutines.
func BenchmarkAccept(b *testing.B) {
	br := opened(b, own(b, b.TempDir())).branch("north")
	var n sync.Mutex
	next := 0
	b.SetParallelism(32) // times two processors
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			n.Lock()
			next++
			id := fmt.Sprint("msg_", next)
			n.Unlock()
			if _, err := br.Accept(context.Background(), store.In{CarrierID: id, Blob: benchBytes[:300]}, noon); err != nil {
				b.Error(err)
				return
			}
		}
	})
}

func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return s[len(s)/2]
}
