package protocol

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// small is a vocabulary small enough to walk value by value.
func small() *vocabulary {
	v := &vocabulary{index: map[string]int{}}
	v.add(factDef{name: "days", kind: number, max: 9, household: true})
	v.add(factDef{name: "count", kind: number, max: 7})
	v.add(factDef{name: "tube", kind: word, words: []string{"nasal", "belly", "bowel"}, household: true})
	v.add(factDef{name: "green", kind: truth})
	return v
}

// brute lists every value of every fact, "not known" included, one by one.
func brute(v *vocabulary) []axis {
	var list []axis
	for i, d := range v.defs {
		a := axis{fact: i, cells: []cell{{}}}
		last := d.max
		switch d.kind {
		case truth:
			last = 1
		case word:
			last = int64(len(d.words) - 1)
		}
		for n := d.min; n <= last; n++ {
			a.cells = append(a.cells, cell{true, n})
		}
		list = append(list, a)
	}
	return list
}

// outcomes returns every combination of outcomes that the conditions can have.
func outcomes(list []axis, facts int, conditions []*condition) []string {
	vs := newValues(facts)
	seen := map[string]bool{}
	walkCells(list, &vs, func([]int) bool {
		var key []byte
		for _, c := range conditions {
			may, must := c.root.eval(&vs)
			key = append(key, bit(may), bit(must))
		}
		seen[string(key)] = true
		return true
	})
	return sortedKeys(seen)
}

// The walk over cells meets exactly the outcomes that a plain walk over every
// value of every fact meets.
func TestWalkOverCellsIsComplete(t *testing.T) {
	v := small()
	env, err := newEnv(v)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		var conditions []*condition
		for range rapid.IntRange(1, 4).Draw(t, "rules") {
			text := anyCondition(t, 2)
			c, err := compile(env, v, text)
			if err != nil {
				t.Fatalf("%s: %v", text, err)
			}
			conditions = append(conditions, c)
		}
		cells := axes(v, conditions)
		got, want := outcomes(cells, len(v.defs), conditions), outcomes(brute(v), len(v.defs), conditions)
		if !slices.Equal(got, want) {
			t.Fatalf("walk over cells met %v, plain walk %v", got, want)
		}
		if product(cells, 1<<30) > product(brute(v), 1<<30) {
			t.Fatal("more cells than values")
		}
	})
}

func anyCondition(t *rapid.T, depth int) string {
	if depth > 0 {
		switch rapid.IntRange(0, 3).Draw(t, "shape") {
		case 0:
			return "(" + anyCondition(t, depth-1) + " && " + anyCondition(t, depth-1) + ")"
		case 1:
			return "(" + anyCondition(t, depth-1) + " || " + anyCondition(t, depth-1) + ")"
		case 2:
			return "!(" + anyCondition(t, depth-1) + ")"
		}
	}
	order := rapid.SampledFrom([]string{"==", "!=", "<", "<=", ">", ">="})
	same := rapid.SampledFrom([]string{"==", "!="})
	switch rapid.IntRange(0, 4).Draw(t, "fact") {
	case 0:
		return fmt.Sprintf("days %s %d", order.Draw(t, "cmp"), rapid.IntRange(0, 9).Draw(t, "n"))
	case 1:
		return fmt.Sprintf("%d %s count", rapid.IntRange(0, 7).Draw(t, "n"), order.Draw(t, "cmp"))
	case 2:
		return fmt.Sprintf("tube %s %q", same.Draw(t, "cmp"), rapid.SampledFrom([]string{"nasal", "belly", "bowel"}).Draw(t, "w"))
	case 3:
		return fmt.Sprintf("green %s %v", same.Draw(t, "cmp"), rapid.Bool().Draw(t, "b"))
	}
	return "green"
}

// Less known of a household never makes a condition less possible, and never
// makes it more certain.
func TestNotKnowingWidensWhatMayHold(t *testing.T) {
	v := small()
	env, err := newEnv(v)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		c, err := compile(env, v, anyCondition(t, 3))
		if err != nil {
			t.Fatal(err)
		}
		vs := newValues(len(v.defs))
		vs.set(0, int64(rapid.IntRange(0, 9).Draw(t, "days")))
		vs.set(1, int64(rapid.IntRange(0, 7).Draw(t, "count")))
		vs.set(2, int64(rapid.IntRange(0, 2).Draw(t, "tube")))
		vs.flag(3, rapid.Bool().Draw(t, "green"))
		may, must := c.root.eval(&vs)
		if may != must {
			t.Fatalf("%s: all is known, yet may hold %v and must hold %v", c.text, may, must)
		}
		vs.known[rapid.SampledFrom([]int{0, 2}).Draw(t, "forget")] = false
		may2, must2 := c.root.eval(&vs)
		if may && !may2 || must2 && !must {
			t.Fatalf("%s: known %v %v, not known %v %v", c.text, may, must, may2, must2)
		}
	})
}

func FuzzCompile(f *testing.F) {
	v := small()
	env, err := newEnv(v)
	if err != nil {
		f.Fatal(err)
	}
	for _, s := range []string{"green", "days < 3 && !(tube == \"nasal\")", "days + 1 < 3", "[1,2].exists(x, x > 1)", "count in [1]", "true", "tube.size() > 3", "days < 99999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := compile(env, v, text)
		if err != nil {
			return
		}
		vs := newValues(len(v.defs))
		if may, must := c.root.eval(&vs); must && !may {
			t.Errorf("%q certainly holds and may not hold", text)
		}
	})
}

func FuzzMarks(f *testing.F) {
	s := shipped(f)
	f.Add("threw up green")
	f.Add("not green\xff")
	f.Fuzz(func(t *testing.T, text string) {
		if got := s.marks.find(text); len(got) != len(s.marks.list) {
			t.Errorf("find gave %d flags for %d marks", len(got), len(s.marks.list))
		}
	})
}
