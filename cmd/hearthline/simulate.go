package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"time"

	"github.com/schollz/progressbar/v3"

	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/seal"
	"hearthline/internal/sim"
	"hearthline/internal/store/mem"
)

type simulateCmd struct {
	Households int    `help:"How many households; the demo's kinds in turn." default:"13"`
	Days       int    `help:"How many days." default:"7"`
	Seed       uint64 `help:"Everything random follows from it: same seed, same days." default:"1"`
	From       string `help:"The first day, such as 2026-11-30." default:"2026-11-30"`
	Flows      string `help:"Folder of flows; the shipped ones if not given." type:"existingdir"`
	JSON       bool   `help:"Print the summary as one JSON object." name:"json"`
}

// Help is what --help adds.
func (simulateCmd) Help() string {
	return `Every household, text, decision and commit goes through the same engine as in service; only the clock, the phones and the families are pretend. The store is in memory.

  hearthline simulate --households 100 --days 7 --seed 3
  hearthline simulate --households 1000 --days 7 --json`
}

// Run runs the simulation.
func (c *simulateCmd) Run(s *streams) error {
	if c.Households < 1 || c.Days < 1 || c.Days > 366 {
		return fmt.Errorf("--households %d --days %d: give at least one household, and 1 to 366 days", c.Households, c.Days)
	}
	from, err := time.Parse("2006-01-02", c.From)
	if err != nil {
		return fmt.Errorf("--from %q is not a day; give one such as 2026-11-30", c.From)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	w, err := loadWorld(flowsFrom(c.Flows), pretendBranch())
	if err != nil {
		return err
	}
	kinds, err := sim.Scenario(w.Limits)
	if err != nil {
		return err
	}
	clock := sim.NewClock(from, func() time.Time { return from })
	keys, err := seal.NewFrom(seeded(c.Seed))
	if err != nil {
		return err
	}
	run, err := sim.New(sim.Config{Homes: sim.Many(kinds, c.Households), Seed: c.Seed, Start: from, Clock: clock, Keys: keys,
		Store: mem.New(clock.Now).Branch(w.Branch.ID), World: func() *household.World { return w }, Nurse: true})
	if err != nil {
		return err
	}
	if err := run.Enrol(ctx); err != nil {
		return err
	}
	var tick func(done, of int)
	if s.tty && !c.JSON {
		bar := progressbar.NewOptions(c.Days*24, progressbar.OptionSetWriter(s.err), progressbar.OptionSetDescription("simulating"),
			progressbar.OptionClearOnFinish(), progressbar.OptionShowCount())
		tick = func(done, _ int) { _ = bar.Set(done) } // a bar that cannot be drawn stops nothing
	}
	if err := run.Days(ctx, c.Days, tick); err != nil {
		return err
	}
	sum, err := run.Sum(ctx, c.Days)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(s.out).Encode(sum)
	}
	fmt.Fprint(s.out, sum)
	return nil
}

// pretendBranch is the invented service of demo and simulation.
func pretendBranch() household.Branch {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		panic(err) // the zones are compiled in
	}
	return household.Branch{ID: journal.BranchID("demo"), Service: "Lantern Street Home Feeding (invented)", Call: "+1 202 555 0199",
		Emergency: "911", Zone: zone, Languages: []string{"en", "es"}}
}

// seeded is a stream of bytes that follows from a seed: for pretend keys only.
func seeded(seed uint64) io.Reader {
	var key [32]byte
	for i := range 8 {
		key[i] = byte(seed >> (8 * i))
	}
	return rand.NewChaCha8(key)
}
