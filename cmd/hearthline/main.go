// Command hearthline runs the service, its demo and its tools.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	_ "time/tzdata" // a machine without zone files still knows every zone

	"github.com/alecthomas/kong"
	"golang.org/x/term"
)

// commands is the whole command line; kong reads it.
type commands struct {
	Demo     demoCmd     `cmd:"" help:"The whole service with invented households, in one window. Nothing to install."`
	Serve    serveCmd    `cmd:"" help:"Run the service of one branch on Redis."`
	Enrol    enrolCmd    `cmd:"" help:"Put households on file, or change them, from household files."`
	Plan     planCmd     `cmd:"" help:"Print what a regimen asks for: prompts, feeds, totals."`
	Read     readCmd     `cmd:"" help:"Read caregivers' texts: JSON Lines in, readings out."`
	Check    checkCmd    `cmd:"" help:"Check a folder of flows."`
	Ask      askCmd      `cmd:"" help:"Walk one pretend household's conversation: reading, case, answer-by time, texts."`
	Book     bookCmd     `cmd:"" help:"Write the protocols as printable pages, for the clinicians who sign them."`
	Simulate simulateCmd `cmd:"" help:"Run pretend households through the engine on a virtual clock."`
}

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
	tty      bool // err is a terminal
}

const about = `Hearthline texts a household what its tube-feeding regimen calls for, reads what the caregivers text back, and puts trouble in front of a nurse with a clock on it.

It replaces neither the care team nor an emergency number. The flows it ships are samples until a licensed clinician signs them.

Begin with:  hearthline demo`

func main() {
	os.Exit(run(os.Args[1:], &streams{in: os.Stdin, out: os.Stdout, err: os.Stderr, tty: term.IsTerminal(int(os.Stderr.Fd()))}))
}

// run carries one command line out and returns the exit status: 0, 1 for an
// error that was printed, 2 for a command line that cannot be meant.
func run(args []string, s *streams) int {
	var c commands
	exit := -1
	parser, err := kong.New(&c, kong.Name("hearthline"), kong.Description(about), kong.UsageOnError(),
		kong.Writers(s.out, s.err), kong.Exit(func(code int) { exit = code }), kong.Bind(s))
	if err != nil {
		fmt.Fprintln(s.err, "hearthline:", err)
		return 2
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	ctx, err := parser.Parse(args)
	if exit >= 0 { // help was asked for
		return exit
	}
	if err != nil {
		parser.FatalIfErrorf(err)
		return 2
	}
	if err := ctx.Run(); err != nil {
		if !errors.Is(err, errSaid) {
			fmt.Fprintln(s.err, "hearthline:", err)
		}
		return 1
	}
	return 0
}

// errSaid ends a command whose output has said already what is wrong.
var errSaid = errors.New("said")
