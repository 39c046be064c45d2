package protocol

import (
	"testing"

	"hearthline/flows"
)

func shipped(t testing.TB) *Set {
	t.Helper()
	s, err := Load(flows.FS)
	if err != nil {
		t.Fatalf("the shipped flows do not load:\n%v", err)
	}
	return s
}

func TestShippedFlowsLoad(t *testing.T) { shipped(t) }
