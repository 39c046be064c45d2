package protocol

import "sort"

// A cell is a set of values of one fact between which no condition of a
// protocol can tell. One value stands for all of them.
type cell struct {
	known bool
	v     int64
}

// axis is one fact that a protocol's conditions speak of, with its cells.
type axis struct {
	fact  int
	cells []cell
}

// comparison is one comparison of a fact with a constant.
type comparison struct {
	cmp   string
	value int64
}

// comparisons adds every comparison of a condition to into, by fact.
func (n *node) comparisons(into map[int][]comparison) {
	switch n.op {
	case opCompare:
		into[n.fact] = append(into[n.fact], comparison{n.cmp, n.value})
	case opNot:
		n.left.comparisons(into)
	default:
		n.left.comparisons(into)
		n.right.comparisons(into)
	}
}

// axes cuts every fact that conditions speak of into its cells. The walk over
// all combinations of cells is complete: two values of one cell give every
// comparison the same outcome, so no condition can tell them apart.
func axes(v *vocabulary, conditions []*condition) []axis {
	compared := map[int][]comparison{}
	for _, c := range conditions {
		c.root.comparisons(compared)
	}
	facts := make([]int, 0, len(compared))
	for f := range compared {
		if f < len(v.defs) { // the others are answers, which belong to one protocol each
			facts = append(facts, f)
		}
	}
	sort.Ints(facts)
	list := make([]axis, 0, len(facts))
	for _, f := range facts {
		list = append(list, axis{f, cellsOf(v.defs[f], f, compared[f])})
	}
	return list
}

// cellsOf returns one value a cell. Candidates are the values on and right
// beside each constant, and "not known"; of those that every comparison judges
// alike, the first stays.
func cellsOf(d factDef, fact int, compared []comparison) []cell {
	var candidates []cell
	switch d.kind {
	case truth:
		candidates = append(candidates, cell{true, 0}, cell{true, 1})
	case word:
		for i := range d.words {
			candidates = append(candidates, cell{true, int64(i)})
		}
	case number:
		values := map[int64]bool{d.min: true}
		for _, c := range compared {
			for _, v := range []int64{c.value - 1, c.value, c.value + 1} {
				if v >= d.min && v <= d.max {
					values[v] = true
				}
			}
		}
		for v := range values {
			candidates = append(candidates, cell{true, v})
		}
		sort.Slice(candidates, func(i, j int) bool { return candidates[i].v < candidates[j].v })
	}
	candidates = append(candidates, cell{})
	vs := newValues(fact + 1)
	seen := map[string]bool{}
	var cells []cell
	for _, c := range candidates {
		vs.v[fact], vs.known[fact] = c.v, c.known
		outcome := make([]byte, 0, 2*len(compared))
		for _, one := range compared {
			n := node{op: opCompare, fact: fact, cmp: one.cmp, value: one.value, household: d.household}
			may, must := n.eval(&vs)
			outcome = append(outcome, bit(may), bit(must))
		}
		if !seen[string(outcome)] {
			seen[string(outcome)] = true
			cells = append(cells, c)
		}
	}
	return cells
}

func bit(b bool) byte {
	if b {
		return '1'
	}
	return '0'
}

// product returns how many combinations of cells there are, at most limit+1.
func product(list []axis, limit int) int {
	n := 1
	for _, a := range list {
		n *= len(a.cells)
		if n > limit {
			return limit + 1
		}
	}
	return n
}

// walkCells calls visit with every combination of cells, laid into vs. at holds the
// place in each axis. visit returns false to stop.
func walkCells(list []axis, vs *values, visit func(at []int) bool) {
	at := make([]int, len(list))
	lay := func(i int) {
		c := list[i].cells[at[i]]
		vs.v[list[i].fact], vs.known[list[i].fact] = c.v, c.known
	}
	for i := range list {
		lay(i)
	}
	for {
		if !visit(at) {
			return
		}
		i := 0
		for ; i < len(list); i++ {
			at[i]++
			if at[i] < len(list[i].cells) {
				lay(i)
				break
			}
			at[i] = 0
			lay(i)
		}
		if i == len(list) {
			return
		}
	}
}
