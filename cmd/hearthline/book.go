package main

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"hearthline/flows"
	"hearthline/internal/protocol"
)

// bookCmd writes the protocols as printable pages, for the clinicians who sign.
type bookCmd struct {
	Out   string `required:"" type:"path" help:"Folder for the pages; it is made if it is not there."`
	Flows string `type:"existingdir" help:"Folder of flows; without one, those built into this program."`
}

// Run writes index.html and one page a protocol.
func (c *bookCmd) Run(s *streams) error {
	var tree fs.FS = flows.FS
	if c.Flows != "" {
		tree = os.DirFS(c.Flows)
	}
	set, err := protocol.Load(tree)
	if err != nil {
		return fmt.Errorf("flows: %w", err)
	}
	if err := os.MkdirAll(c.Out, 0o755); err != nil {
		return fmt.Errorf("folder for the book: %w", err)
	}
	if err := writePage(filepath.Join(c.Out, "index.html"), set.WriteIndex); err != nil {
		return err
	}
	names := set.Protocols()
	for _, name := range names {
		err := writePage(filepath.Join(c.Out, name+".html"), func(w io.Writer) error { return set.WritePage(w, name) })
		if err != nil {
			return err
		}
	}
	fmt.Fprintf(s.out, "%d protocols of version %s; open %s and print.\n", len(names), set.Version(), filepath.Join(c.Out, "index.html"))
	return nil
}

// writePage writes one file and closes it, whatever happens.
func writePage(path string, write func(io.Writer) error) (err error) {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("page of the book: %w", err)
	}
	defer func() {
		if cerr := f.Close(); err == nil && cerr != nil {
			err = fmt.Errorf("page of the book: %w", cerr)
		}
	}()
	return write(f)
}
