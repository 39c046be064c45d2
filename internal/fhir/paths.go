package fhir

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"sort"
	"strings"
)

// maxDepth bounds how deep a resource may nest; the standard's own examples need 8.
const maxDepth = 64

// paths is every value of a resource by its path, with the line it stands on.
type paths struct {
	line map[string]int
	leaf map[string]bool
	used map[string]bool
}

// indexPaths reads src a second time, as plain JSON, so that nothing the typed
// model does not know can be lost unseen.
func indexPaths(src []byte) (*paths, error) {
	p := &paths{line: map[string]int{}, leaf: map[string]bool{}, used: map[string]bool{}}
	dec := json.NewDecoder(bytes.NewReader(src))
	dec.UseNumber()
	if err := p.value(dec, src, "", 0); err != nil {
		return nil, err
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, fmt.Errorf("line %d: more after the resource", lineAt(src, dec.InputOffset()))
	}
	return p, nil
}

func lineAt(src []byte, off int64) int {
	return 1 + bytes.Count(src[:min(int(off), len(src))], []byte("\n"))
}

func (p *paths) value(dec *json.Decoder, src []byte, path string, depth int) error {
	t, err := dec.Token()
	line := lineAt(src, dec.InputOffset())
	if err != nil {
		return fmt.Errorf("line %d: %w", line, err)
	}
	if depth > maxDepth {
		return fmt.Errorf("line %d: nested deeper than %d levels", line, maxDepth)
	}
	p.line[path] = line
	d, ok := t.(json.Delim)
	if !ok {
		p.leaf[path] = true
		return nil
	}
	seen := map[string]bool{}
	for i := 0; dec.More(); i++ {
		next := fmt.Sprintf("%s[%d]", path, i)
		if d == '{' {
			k, err := dec.Token()
			if err != nil {
				return fmt.Errorf("line %d: %w", lineAt(src, dec.InputOffset()), err)
			}
			name, _ := k.(string)
			if seen[name] {
				return fmt.Errorf("line %d: field %q is given twice; once", lineAt(src, dec.InputOffset()), name)
			}
			seen[name] = true
			next = strings.TrimPrefix(path+"."+name, ".")
		}
		if err := p.value(dec, src, next, depth+1); err != nil {
			return err
		}
	}
	_, err = dec.Token() // the closing bracket
	if err != nil {
		return fmt.Errorf("line %d: %w", lineAt(src, dec.InputOffset()), err)
	}
	return nil
}

// use marks a path, and all below it, as read.
func (p *paths) use(path string) { p.used[path] = true }

// unused returns every leaf that was not read, parts that are unused as a whole
// named by their root only. Values are left out: they may name a person.
func (p *paths) unused() []string {
	var out []string
	for leaf := range p.leaf {
		if !p.covers(leaf) {
			out = append(out, leaf)
		}
	}
	sort.Strings(out)
	return p.roots(out)
}

func (p *paths) covers(leaf string) bool {
	for u := range p.used {
		if under(leaf, u) {
			return true
		}
	}
	return false
}

func under(path, root string) bool {
	return path == root || strings.HasPrefix(path, root+".") || strings.HasPrefix(path, root+"[")
}

// roots replaces leaves by the highest path below which nothing was used.
func (p *paths) roots(leaves []string) []string {
	var out []string
	for _, l := range leaves {
		root := l
		for i := len(l) - 1; i > 0; i-- {
			if l[i] != '.' && l[i] != '[' {
				continue
			}
			up := l[:i]
			if p.touched(up) {
				break
			}
			root = up
		}
		if len(out) == 0 || out[len(out)-1] != root {
			out = append(out, root)
		}
	}
	return out
}

func (p *paths) touched(root string) bool {
	for u := range p.used {
		if under(u, root) {
			return true
		}
	}
	return false
}
