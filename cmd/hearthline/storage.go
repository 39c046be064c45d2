package main

import (
	"context"
	"errors"

	"hearthline/internal/store"
	redisstore "hearthline/internal/store/redis"
)

// opened is a store with what must be ended with it.
type opened struct {
	store.Store
	child    *redisstore.Child
	findings []string // why it may lose what it was given
}

// openRedis opens the Redis at url; with no url it starts a redis-server on
// the data folder. redisstore.ErrNoServer says that there is none.
func openRedis(ctx context.Context, url, data string) (*opened, error) {
	o := &opened{}
	opts := redisstore.Options{URL: url}
	if url == "" {
		child, err := redisstore.StartChild(ctx, data)
		if err != nil {
			return nil, err
		}
		o.child = child
		opts.Redis = child.Options()
	}
	s, err := redisstore.Open(ctx, opts)
	if err != nil {
		return nil, errors.Join(err, o.stopChild())
	}
	o.Store = s
	o.findings = s.Findings(ctx)
	return o, nil
}

// Close closes the store and stops the redis-server that was started for it.
func (o *opened) Close() error { return errors.Join(o.Store.Close(), o.stopChild()) }

func (o *opened) stopChild() error {
	if o.child == nil {
		return nil
	}
	return o.child.Stop()
}
