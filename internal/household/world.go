package household

import (
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
)

// World is the read-only snapshot that a decision is made against: flows,
// settings of the branch. An entry names the version of the flows.
type World struct {
	Protocols *protocol.Set
	Words     *reply.Lists
	Limits    *regimen.Limits
	Asking    Asking
	Branch    Branch

	// Plan compiles the prescriptions in force. Nil compiles anew each time;
	// the engine gives one that remembers. It must be a pure function of its argument.
	Plan func([]InForce) (*regimen.Plan, error)
}

// Branch is what decisions need to know of the branch's own settings.
type Branch struct {
	ID        journal.BranchID
	Service   string         // the name that texts are signed with
	Call      string         // the number that families ring
	Emergency string         // the local emergency number
	Crisis    string         // the crisis line; empty: the one in the flows
	Zone      *time.Location // of the service's office
	Languages []string       // a text to a stranger goes out in the first
}

func (w *World) compile(in []InForce) (*regimen.Plan, error) {
	if w.Plan != nil {
		return w.Plan(in)
	}
	return CompilePlan(in, w.Limits)
}
