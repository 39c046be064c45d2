package regimen

import (
	"errors"
	"fmt"
	"sort"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// maxFile bounds a file; a regimen is about 2 KB.
const maxFile = 128 << 10

// maxDepth bounds how deep brackets may nest; a regimen needs 4.
const maxDepth = 16

// yamlDoc collects what is wrong while a file is read. A file is read to its
// end even after an error, so that all of them are told at once.
type yamlDoc struct {
	file  string
	probs Problems
}

// value is one node of the file, with its path.
type value struct {
	d    *yamlDoc
	node ast.Node
	path string
}

func (d *yamlDoc) add(line, col int, field, wrong, right string) {
	d.probs = append(d.probs, &Error{File: d.file, Line: max(line, 1), Col: max(col, 1), Field: field, Wrong: wrong, Right: right})
}

// parseYAML returns the one mapping that a file holds.
func parseYAML(file string, src []byte) (d *yamlDoc, top *mapping) {
	d = &yamlDoc{file: file}
	if len(src) > maxFile {
		d.add(1, 1, "", fmt.Sprintf("the file has %d bytes", len(src)), fmt.Sprintf("at most %d", maxFile))
		return d, nil
	}
	if line, col, deep := tooDeep(src); deep {
		d.add(line, col, "", "brackets nest too deep", fmt.Sprintf("at most %d levels", maxDepth))
		return d, nil
	}
	f, err := safeParse(src)
	if err != nil {
		line, col := 1, 1
		var at yaml.Error
		if errors.As(err, &at) && at.GetToken() != nil && at.GetToken().Position != nil {
			line, col = at.GetToken().Position.Line, at.GetToken().Position.Column
			d.add(line, col, "", "not valid YAML: "+at.GetMessage(), "")
			return d, nil
		}
		d.add(line, col, "", "not valid YAML: "+firstLine(err.Error()), "")
		return d, nil
	}
	var bodies []ast.Node
	for _, doc := range f.Docs {
		if doc != nil && doc.Body != nil {
			if _, comment := doc.Body.(*ast.CommentGroupNode); !comment {
				bodies = append(bodies, doc.Body)
			}
		}
	}
	if len(bodies) != 1 {
		d.add(1, 1, "", fmt.Sprintf("the file holds %d documents", len(bodies)), "one mapping of fields")
		return d, nil
	}
	return d, value{d: d, node: bodies[0]}.mapping()
}

// safeParse turns a panic of the YAML library on mangled input into an error:
// a file from outside must never take the process down.
func safeParse(src []byte) (f *ast.File, err error) {
	defer func() {
		if r := recover(); r != nil {
			f, err = nil, fmt.Errorf("the reader gave up: %v", r)
		}
	}()
	return parser.ParseBytes(src, 0)
}

// tooDeep bounds nesting before the recursive parser sees the file. Brackets in
// quoted text count as well: no field of ours holds sixteen of them.
func tooDeep(src []byte) (line, col int, deep bool) {
	depth, run := 0, 0
	line, col = 1, 0
	for _, c := range src {
		col++
		switch c {
		case '\n':
			line, col, run = line+1, 0, 0
		case '[', '{':
			depth++
		case ']', '}':
			depth = max(0, depth-1)
		case '-', '?', ':', '!', '&', '*', '|', '>':
			// "- - - -" and its like nest without brackets.
			run++
		}
		if depth > maxDepth || run > 64*maxDepth {
			return line, col, true
		}
	}
	return 0, 0, false
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}

func (v value) pos() (int, int) {
	if v.node == nil || v.node.GetToken() == nil || v.node.GetToken().Position == nil {
		return 1, 1
	}
	p := v.node.GetToken().Position
	line, col := p.Line, p.Column
	// A mapping's own token is the colon of its first entry: point at the key.
	if mv, ok := v.node.(*ast.MappingValueNode); ok && mv.Key != nil && mv.Key.GetToken() != nil {
		line, col = mv.Key.GetToken().Position.Line, mv.Key.GetToken().Position.Column
	}
	return max(line, 1), max(col, 1)
}

// wrong records an error at v.
func (v value) wrong(wrong, right string) {
	line, col := v.pos()
	v.d.add(line, col, v.path, wrong, right)
}

func (v value) what() string {
	switch n := v.node.(type) {
	case nil, *ast.NullNode:
		return "nothing"
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a mapping"
	case *ast.SequenceNode:
		return "a list"
	case *ast.AnchorNode, *ast.AliasNode:
		return "an anchor or alias"
	case *ast.TagNode:
		return "a tag"
	case *ast.StringNode:
		return fmt.Sprintf("the text %q", clip(n.Value))
	default:
		if v.node.GetToken() == nil {
			return "something else"
		}
		return fmt.Sprintf("%q", clip(v.node.GetToken().Value))
	}
}

func clip(s string) string {
	r := []rune(s)
	if len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return s
}

// mapping is a mapping whose fields are taken one by one; what is left at the end is unknown.
type mapping struct {
	value
	fields map[string]value
	keys   map[string]value // where each field's name stands
	order  []string
	known  []string
}

// mapping returns v as a mapping, or nil after an error.
func (v value) mapping() *mapping {
	var entries []*ast.MappingValueNode
	switch n := v.node.(type) {
	case *ast.MappingNode:
		entries = n.Values
	case *ast.MappingValueNode:
		entries = []*ast.MappingValueNode{n}
	default:
		v.wrong("wants a mapping of fields, found "+v.what(), "")
		return nil
	}
	m := &mapping{value: v, fields: map[string]value{}, keys: map[string]value{}}
	for _, e := range entries {
		if e == nil || e.Key == nil || e.Key.GetToken() == nil {
			v.wrong("an entry without a name", "name: value")
			continue
		}
		name := e.Key.GetToken().Value
		key := value{d: v.d, node: e.Key, path: join(v.path, clip(name))}
		if _, ok := e.Key.(*ast.StringNode); !ok {
			key.wrong("a field name must be plain text", "")
			continue
		}
		if _, dup := m.fields[name]; dup {
			key.wrong("the field is given twice", "once")
			continue
		}
		val := value{d: v.d, node: e.Value, path: join(v.path, name)}
		if e.Value == nil || val.isNull() {
			val.node = e.Key // nothing there to point at
			val.wrong("the field has no value", "a value, or leave the field out")
			m.fields[name] = value{}
			continue
		}
		m.fields[name], m.keys[name] = val, key
		m.order = append(m.order, name)
	}
	return m
}

func (v value) isNull() bool {
	_, ok := v.node.(*ast.NullNode)
	return ok
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// take returns the field and marks it as known; ok is false where it is absent.
func (m *mapping) take(name string) (value, bool) {
	m.known = append(m.known, name)
	v, ok := m.fields[name]
	return v, ok && v.d != nil
}

// need is take with an error where the field is absent.
func (m *mapping) need(name, right string) (value, bool) {
	v, ok := m.take(name)
	if _, present := m.fields[name]; !present {
		line, col := m.pos()
		m.d.add(line, col, join(m.path, name), "the field is missing", right)
	}
	return v, ok
}

// done records every field that nobody took.
func (m *mapping) done() {
	for _, name := range m.order {
		known := false
		for _, k := range m.known {
			known = known || k == name
		}
		if !known {
			names := append([]string(nil), m.known...)
			sort.Strings(names)
			m.keys[name].wrong("unknown field", "one of "+strings.Join(names, ", "))
		}
	}
}

// list returns the elements of a list.
func (v value) list(limit int) []value {
	n, ok := v.node.(*ast.SequenceNode)
	if !ok {
		v.wrong("wants a list, found "+v.what(), "")
		return nil
	}
	if len(n.Values) > limit {
		v.wrong(fmt.Sprintf("the list has %d entries", len(n.Values)), fmt.Sprintf("at most %d", limit))
		return nil
	}
	out := make([]value, 0, len(n.Values))
	for i, e := range n.Values {
		el := value{d: v.d, node: e, path: fmt.Sprintf("%s[%d]", v.path, i)}
		if e == nil || el.isNull() {
			el.node = v.node
			el.wrong("an empty entry", "a value, or leave it out")
			continue
		}
		out = append(out, el)
	}
	return out
}

// text returns v as text of 1 to limit characters without control characters.
func (v value) text(limit int) (string, bool) {
	n, ok := v.node.(*ast.StringNode)
	if !ok {
		if l, lit := v.node.(*ast.LiteralNode); lit && l.Value != nil {
			n, ok = l.Value, true
		}
	}
	if !ok {
		v.wrong("wants text, found "+v.what(), "put it in quotes")
		return "", false
	}
	s := n.Value
	if s == "" || len([]rune(s)) > limit {
		v.wrong(fmt.Sprintf("the text has %d characters", len([]rune(s))), fmt.Sprintf("1 to %d", limit))
		return "", false
	}
	for _, r := range s {
		if r < ' ' || r == 0x7f || r == 0xFFFD {
			v.wrong("the text holds a control character or is not UTF-8", "plain text")
			return "", false
		}
	}
	return s, true
}

// scalar returns the spelling of a plain scalar, quoted or not.
func (v value) scalar() (string, bool) {
	switch n := v.node.(type) {
	case *ast.StringNode:
		return n.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
		return strings.TrimSpace(v.node.GetToken().Value), true
	}
	return "", false
}

// decimal returns v as an exact decimal between lo and hi.
func (v value) decimal(lo, hi Milli, unit string) (Milli, bool) {
	right := fmt.Sprintf("%s to %s %s", lo, hi, unit)
	switch v.node.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
	default:
		v.wrong("wants a number, found "+v.what(), right)
		return 0, false
	}
	s, _ := v.scalar()
	m, err := parseMilli(s)
	if err != nil {
		v.wrong(err.Error(), right)
		return 0, false
	}
	if m < lo || m > hi {
		v.wrong(s+" is out of range", right)
		return 0, false
	}
	return m, true
}

// whole returns v as a whole number between lo and hi.
func (v value) whole(lo, hi int64, unit string) (int64, bool) {
	m, ok := v.decimal(Milli(lo*1000), Milli(hi*1000), unit)
	if ok && m%1000 != 0 {
		v.wrong(m.String()+" is not whole", "a whole number of "+unit)
		return 0, false
	}
	return int64(m) / 1000, ok
}

func (v value) boolean() (val, ok bool) {
	if n, is := v.node.(*ast.BoolNode); is {
		return n.Value, true
	}
	v.wrong("wants true or false, found "+v.what(), "")
	return false, false
}

func (v value) clock() (Clock, bool) {
	s, ok := v.scalar()
	if !ok {
		v.wrong("wants a time of day, found "+v.what(), `"HH:MM"`)
		return 0, false
	}
	c, err := ParseClock(s)
	if err != nil {
		v.wrong(err.Error(), "")
		return 0, false
	}
	return c, true
}

// oneOf returns v as one of the allowed words.
func (v value) oneOf(allowed ...string) (string, bool) {
	s, _ := v.scalar()
	for _, a := range allowed {
		if s == a {
			return s, true
		}
	}
	v.wrong("found "+v.what(), "one of "+strings.Join(allowed, ", "))
	return "", false
}
