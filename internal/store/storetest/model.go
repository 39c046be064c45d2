package storetest

import (
	"cmp"
	"slices"

	"hearthline/internal/journal"
	"hearthline/internal/store"
)

// model is a branch told in the plainest way: lists that are searched from end
// to end and sorted when they are read. It is a third telling, of which neither
// store has a line.
type model struct {
	inbox      []modelItem
	accepted   int
	seen       map[string]journal.Millis
	households map[journal.HouseholdID]*modelHousehold
	cases      []store.Case
	outbox     []store.Out
	revisions  int // commits so far
	holder     string
	round      journal.Millis
}

type modelItem struct {
	number int // counts what was accepted; the store's token is looked up by it
	got    journal.Millis
	blob   string
}

type modelHousehold struct {
	version int64
	state   string
	entries []string
	due     journal.Millis
	row     *store.Row
	phones  map[journal.PhoneKey]bool
}

func newModel() *model {
	return &model{seen: map[string]journal.Millis{}, households: map[journal.HouseholdID]*modelHousehold{}}
}

func (m *model) accept(in store.In, now journal.Millis) bool {
	at, ok := m.seen[in.CarrierID]
	if ok && int64(now-at) < store.RememberIDs.Milliseconds() {
		return false
	}
	m.seen[in.CarrierID] = now
	m.inbox = append(m.inbox, modelItem{m.accepted, now, string(in.Blob)})
	m.accepted++
	return true
}

// commit applies c, whose token stands for the item of that number (-1: none).
func (m *model) commit(c store.Change, number int) error {
	at := slices.IndexFunc(m.inbox, func(i modelItem) bool { return i.number == number })
	if number >= 0 && at < 0 {
		return store.ErrGone
	}
	for _, h := range c.Households {
		if m.version(h.ID) != h.Was {
			return store.ErrStale
		}
	}
	for _, h := range c.Households {
		m.change(h)
	}
	if number >= 0 {
		m.inbox = slices.Delete(m.inbox, at, at+1)
	}
	m.revisions++
	return nil
}

func (m *model) version(id journal.HouseholdID) int64 {
	if h := m.households[id]; h != nil {
		return h.version
	}
	return 0
}

func (m *model) change(c store.HouseholdChange) {
	h := m.households[c.ID]
	if h == nil {
		h = &modelHousehold{phones: map[journal.PhoneKey]bool{}}
		m.households[c.ID] = h
	}
	h.version, h.state, h.due = h.version+1, string(c.State), c.Due
	for _, e := range c.Entries {
		h.entries = append(h.entries, string(e))
	}
	for _, k := range c.Cases {
		m.cases = slices.DeleteFunc(m.cases, func(o store.Case) bool { return o.ID == k.ID })
		if k.Row != nil {
			m.cases = append(m.cases, store.Case(k))
		}
	}
	for _, id := range c.Withdraw {
		m.drop(id)
	}
	for _, o := range c.Send {
		if !slices.ContainsFunc(m.outbox, func(p store.Out) bool { return p.ID == o.ID }) {
			m.outbox = append(m.outbox, o)
		}
	}
	for _, p := range c.DropPhones {
		delete(h.phones, p)
	}
	for _, p := range c.AddPhones {
		h.phones[p] = true
	}
	if c.Row != nil {
		h.row = nil
		if len(c.Row) > 0 {
			h.row = &store.Row{ID: c.ID, Rank: c.Rank, Row: c.Row}
		}
	}
}

func (m *model) drop(id journal.TextID) {
	m.outbox = slices.DeleteFunc(m.outbox, func(o store.Out) bool { return o.ID == id })
}

func (m *model) take(class journal.Class, now, until journal.Millis, n int) []store.Out {
	slices.SortFunc(m.outbox, func(a, b store.Out) int {
		return cmp.Or(cmp.Compare(a.NotBefore, b.NotBefore), cmp.Compare(a.ID, b.ID))
	})
	var out []store.Out
	for i, o := range m.outbox {
		if o.Class == class && o.NotBefore <= now && len(out) < n {
			out = append(out, o)
			m.outbox[i].NotBefore = until
		}
	}
	return out
}

func (m *model) settle(s store.Settlement) {
	i := slices.IndexFunc(m.outbox, func(o store.Out) bool { return o.ID == s.ID && o.Class == s.Class })
	if i < 0 {
		return
	}
	if s.Later != 0 {
		m.outbox[i].NotBefore = s.Later
	} else {
		m.drop(s.ID)
	}
	if s.Report != nil {
		m.accept(*s.Report, s.Now)
	}
}

func (m *model) hold(who string, round journal.Millis) bool {
	if m.holder != "" && m.holder != who {
		return false
	}
	m.holder = who
	if round != 0 {
		m.round = round
	}
	return true
}

// view is what a store in this state reads as. Tokens are left out, and of the
// revision there is only how many commits it counts.
func (m *model) view(ids []journal.HouseholdID, phones []journal.PhoneKey) View {
	v := View{
		Queue: slices.SortedFunc(slices.Values(m.cases), func(a, b store.Case) int {
			return cmp.Or(cmp.Compare(a.AnswerBy, b.AnswerBy), cmp.Compare(a.ID, b.ID))
		}),
		Cases:      len(m.cases),
		Pulse:      store.Pulse{Revision: int64(m.revisions), Round: m.round, Inbox: len(m.inbox), Cases: len(m.cases)},
		Households: map[journal.HouseholdID]Household{},
		Phones:     map[journal.PhoneKey][]journal.HouseholdID{},
	}
	for _, i := range m.inbox {
		v.Inbox = append(v.Inbox, store.Item{Got: i.got, Blob: []byte(i.blob)})
	}
	for _, o := range m.outbox {
		v.Pulse.Outbox[o.Class]++
	}
	for _, p := range phones {
		v.Phones[p] = nil
	}
	for _, id := range slices.Sorted(slices.Values(ids)) {
		h := m.households[id]
		if h == nil {
			v.Households[id] = Household{}
			continue
		}
		v.Households[id] = Household{store.Stored{Version: h.version, State: []byte(h.state)}, bytesOf(h.entries...)}
		if h.due != 0 {
			v.Due = append(v.Due, id)
		}
		if h.row != nil {
			v.Rows = append(v.Rows, *h.row)
			v.RowCount++
		}
		for p := range h.phones {
			v.Phones[p] = append(v.Phones[p], id)
		}
	}
	slices.SortStableFunc(v.Due, func(a, b journal.HouseholdID) int {
		return cmp.Compare(m.households[a].due, m.households[b].due)
	})
	slices.SortStableFunc(v.Rows, func(a, b store.Row) int { return cmp.Compare(b.Rank, a.Rank) })
	return v
}
