package engine

import (
	"sync"

	"hearthline/internal/household"
	"hearthline/internal/regimen"
)

type planOf = regimen.Plan

// maxPlans bounds the compiled plans that are remembered; beyond it the memo
// is emptied, which costs one compilation a household.
const maxPlans = 100_000

// memo remembers compiled plans by the prescriptions that they were compiled
// of. A plan is a pure function of them, so remembering changes nothing but time.
type memo struct {
	mu    sync.Mutex
	plans map[string]*planOf
	lim   *regimen.Limits
}

func (m *memo) compile(in []household.InForce, lim *regimen.Limits) (*planOf, error) {
	key := ""
	for _, each := range in {
		key += string(each.Prescription)
	}
	m.mu.Lock()
	if m.lim != lim || len(m.plans) >= maxPlans {
		m.plans, m.lim = map[string]*planOf{}, lim
	}
	p := m.plans[key]
	m.mu.Unlock()
	if p != nil {
		return p, nil
	}
	p, err := household.CompilePlan(in, lim)
	if err != nil {
		return nil, err
	}
	m.mu.Lock()
	if m.lim == lim {
		m.plans[key] = p
	}
	m.mu.Unlock()
	return p, nil
}
