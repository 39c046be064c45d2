package web

import (
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// doc is a parsed page, asked by selectors: names, #id, .class and [attr=value]
// with descent by spaces; enough for these tests.
type doc struct {
	t    testing.TB
	root *html.Node
}

func parse(t testing.TB, page string) doc {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatalf("page does not parse: %v", err)
	}
	return doc{t, root}
}

func (d doc) all(selector string) []*html.Node {
	found := []*html.Node{d.root}
	for step := range strings.FieldsSeq(selector) {
		var next []*html.Node
		for _, n := range found {
			for c := range n.Descendants() {
				if c.Type == html.ElementNode && matches(c, step) {
					next = append(next, c)
				}
			}
		}
		found = next
	}
	return found
}

// one returns the words of the only element that the selector finds.
func (d doc) one(selector string) string {
	d.t.Helper()
	found := d.all(selector)
	if len(found) != 1 {
		d.t.Fatalf("%q finds %d elements, want 1", selector, len(found))
	}
	return text(found[0])
}

func (d doc) attr(selector, name string) string {
	d.t.Helper()
	found := d.all(selector)
	if len(found) == 0 {
		d.t.Fatalf("%q finds nothing", selector)
	}
	v, _ := attr(found[0], name)
	return v
}

func text(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data)
			b.WriteByte(' ')
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func attr(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

func matches(n *html.Node, step string) bool {
	for step != "" {
		end := 1
		for end < len(step) && !strings.ContainsRune("#.[", rune(step[end])) {
			end++
		}
		if step[0] == '[' {
			end = strings.IndexByte(step, ']') + 1
		}
		part := step[:end]
		step = step[end:]
		switch part[0] {
		case '#':
			if v, _ := attr(n, "id"); v != part[1:] {
				return false
			}
		case '.':
			v, _ := attr(n, "class")
			if !strings.Contains(" "+v+" ", " "+part[1:]+" ") {
				return false
			}
		case '[':
			name, want, valued := strings.Cut(part[1:len(part)-1], "=")
			v, ok := attr(n, name)
			if !ok || valued && v != want {
				return false
			}
		default:
			if n.Data != part {
				return false
			}
		}
	}
	return true
}
