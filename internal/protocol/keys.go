package protocol

import (
	"slices"
	"strings"
)

// Keys returns the message keys that begin with prefix, sorted.
func (p Phrases) Keys(prefix string) []string {
	var out []string
	for key := range p.text {
		if strings.HasPrefix(key, prefix) {
			out = append(out, key)
		}
	}
	slices.Sort(out)
	return out
}
