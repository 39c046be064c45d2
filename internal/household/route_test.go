package household

import "testing"

func TestRouteOfTwinsOnOnePhone(t *testing.T) {
	waits := []Prompt{{}}
	waits[0].Asks = "feed_end"
	for _, c := range []struct {
		name         string
		a, b         State
		body         string
		toA, toB     bool
		aWaits       bool
		othersWaitsB bool
	}{
		{name: "named", a: State{Tag: "IRIS"}, b: State{Tag: "NOEL"}, body: "Noel threw up", toB: true},
		{name: "both named", a: State{Tag: "IRIS"}, b: State{Tag: "NOEL"}, body: "iris and noel done", toA: true, toB: true},
		{name: "nobody named, nobody waits", a: State{Tag: "IRIS"}, b: State{Tag: "NOEL"}, body: "threw up", toA: true, toB: true},
		{name: "one waits", a: State{Tag: "IRIS", Prompts: waits}, b: State{Tag: "NOEL"}, body: "110", toA: true, toB: true, aWaits: true, othersWaitsB: true},
		{name: "both wait", a: State{Tag: "IRIS", Prompts: waits}, b: State{Tag: "NOEL", Prompts: waits}, body: "110", toA: true, toB: true},
		{name: "one letter counts as a capital only", a: State{Tag: "A"}, b: State{Tag: "B"}, body: "she had a bad night", toA: true, toB: true},
		{name: "a capital letter names", a: State{Tag: "A"}, b: State{Tag: "B"}, body: "B 90", toB: true},
	} {
		got := Route([]State{c.a, c.b}, TextCame{Body: c.body})
		a, isA := got[0]
		b, isB := got[1]
		if isA != c.toA || isB != c.toB || a.Waits != c.aWaits || b.OtherWaits != c.othersWaitsB {
			t.Errorf("%s: Route = %+v", c.name, got)
		}
		if isA && isB && a.First == b.First && len(a.Others) > 0 {
			t.Errorf("%s: both or neither answer for all", c.name)
		}
	}
	if got := Route([]State{{}}, TextCame{Body: "x"}); len(got) != 1 || len(got[0].Others) != 0 {
		t.Errorf("a single household: %+v", got)
	}
}

func TestATagIsNoUnreadWord(t *testing.T) {
	for _, c := range []struct{ tag, body, want string }{
		{"IRIS", "Iris 110, iris!", "     110,     !"},
		{"IRIS", "irises 110", "irises 110"},
		{"", "iris 110", "iris 110"},
		{"A", "A 90 and a bit", "  90 and a bit"},
		{"IRIS", "ñ IRIS", "ñ     "},
	} {
		if got := (State{Tag: c.tag}).withoutTag(c.body); got != c.want {
			t.Errorf("withoutTag(%q) of tag %q = %q, want %q", c.body, c.tag, got, c.want)
		}
	}
}
