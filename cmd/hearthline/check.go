package main

import (
	"fmt"
	"io/fs"
	"os"

	"hearthline/flows"
	"hearthline/internal/protocol"
)

// checkCmd proves what can be proved of a folder of flows, and names file and
// line of every breach.
type checkCmd struct {
	Dir string `arg:"" optional:"" type:"existingdir" help:"Folder of flows to check; without one, those built into this program."`
}

// Help is what --help adds.
func (checkCmd) Help() string {
	return `Proves, rather than samples: every code opens a protocol, every text exists in every language, fits two segments and reads at sixth grade or plainer, every threshold has a source, every condition type-checks, and every path of answers and silence ends, none later for a red flag. Each breach is named with file, line and path; any breach ends with status 1.

  hearthline check flows/`
}

// Run prints the findings, one a line, and what was looked at. Any finding is
// an error, so that the program ends with a status other than 0.
func (c *checkCmd) Run(s *streams) error {
	var tree fs.FS = flows.FS
	name := "the built-in flows"
	if c.Dir != "" {
		tree, name = os.DirFS(c.Dir), c.Dir
	}
	r := protocol.Check(tree)
	for _, f := range r.Findings {
		fmt.Fprintln(s.out, f)
	}
	if r.Protocols > 0 {
		fmt.Fprintf(s.out, "%s, version %s: %d protocols, %d cases and %d paths of answers and silence walked, %d texts to caregivers weighed.\n",
			name, r.Version, r.Protocols, r.Cells, r.Paths, r.Texts)
		if r.Unsigned > 0 {
			fmt.Fprintf(s.out, "%d of %d files carry no clinician's signature for what is in them: samples, not for service.\n", r.Unsigned, r.Files)
		}
	}
	if n := len(r.Findings); n > 0 {
		return fmt.Errorf("%s: %d findings", name, n)
	}
	return nil
}
