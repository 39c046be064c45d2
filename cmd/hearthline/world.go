package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"hearthline/flows"
	"hearthline/internal/household"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
)

// flowsFrom is the folder of flows that is named, or the shipped ones.
func flowsFrom(dir string) fs.FS {
	if dir == "" {
		return flows.FS
	}
	return os.DirFS(dir)
}

// loadWorld reads a tree of flows whole: all of it, or nothing and every reason.
func loadWorld(tree fs.FS, b household.Branch) (*household.World, error) {
	w := &household.World{Branch: b}
	var errs [4]error
	w.Protocols, errs[0] = protocol.Load(tree)
	w.Words, errs[1] = reply.Load(tree)
	w.Limits, errs[2] = loadLimits(tree)
	asking, err := fs.ReadFile(tree, "asking.yaml")
	if err == nil {
		w.Asking, err = household.ParseAsking("asking.yaml", asking)
	}
	errs[3] = err
	if err := errors.Join(errs[:]...); err != nil {
		return nil, fmt.Errorf("flows: %w", err)
	}
	return w, nil
}

func loadLimits(tree fs.FS) (*regimen.Limits, error) {
	src, err := fs.ReadFile(tree, "limits.yaml")
	if err != nil {
		return nil, err
	}
	return regimen.ParseLimits("limits.yaml", src)
}
