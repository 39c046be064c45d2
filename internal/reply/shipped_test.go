package reply

import (
	"os"
	"sync"
	"testing"
)

var shippedOnce = sync.OnceValues(func() (*Lists, error) { return Load(os.DirFS("../../flows")) })

// shipped is the word lists of this repository.
func shipped(t testing.TB) *Lists {
	t.Helper()
	l, err := shippedOnce()
	if err != nil {
		t.Fatal(err)
	}
	return l
}
