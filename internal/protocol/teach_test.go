package protocol

import (
	"slices"
	"testing"
)

func TestTeachAnswersWhatItIsSureOf(t *testing.T) {
	s := shipped(t)
	pump := Taught{By: "pump", TubeKind: "gastrostomy", Args: map[string]string{"keep": "24", "hang": "8", "rate": "60", "flush": "10"}}
	bare := Taught{By: "pump", TubeKind: "gastrostomy"}
	bowel := Taught{By: "syringe", TubeKind: "jejunostomy"}
	for _, tc := range []struct {
		name, question string
		household      Taught
		want           string // "" for: to the nurse
	}{
		{"priming", "how do i prime it?", pump, "teach.prime"},
		{"half a can", "Can I keep the half can", pump, "teach.opened"},
		{"half a can, no limit known", "Can I keep the half can", bare, ""},
		{"rate", "what rate do I set", pump, "teach.rate"},
		{"rate, by gravity", "what rate do I set", Taught{By: "gravity", TubeKind: "gastrostomy", Args: pump.Args}, ""},
		{"syringe into the stomach", "how fast do i push on a syringe feed", Taught{By: "syringe", TubeKind: "gastrostomy"}, "teach.syringe"},
		{"plunger", "do i use the plunger?", Taught{By: "syringe", TubeKind: "gastrostomy"}, "teach.syringe"},
		{"plunger, into the bowel", "do i use the plunger?", bowel, ""},
		{"kind of tube not known", "do i use the plunger?", Taught{By: "syringe"}, ""},
		{"Spanish", "¿Cómo cebar la bomba?", pump, "teach.prime"},
		{"something else", "can he have birthday cake", pump, ""},
		{"two things at once", "do i prime it before i fill the bag", pump, ""},
		{"a long story", "so my mother asked me yesterday evening when she was here whether i should prime it", pump, ""},
		{"nothing", "", pump, ""},
	} {
		if got, ok := s.Teach(tc.question, tc.household); got != tc.want || ok != (tc.want != "") {
			t.Errorf("%s: Teach(%q) = %q, %v, want %q", tc.name, tc.question, got, ok, tc.want)
		}
	}
}

func TestOffersBelongToTheirAct(t *testing.T) {
	s := shipped(t)
	h := Taught{By: "syringe", TubeKind: "jejunostomy", Args: map[string]string{"rate": "60"}}
	for _, key := range s.Offers("feed_start", h) {
		if slices.Contains([]string{"teach.syringe", "teach.gravity", "teach.rate", "teach.prime"}, key) {
			t.Errorf("offers %s to a jejunostomy fed by syringe", key)
		}
	}
	if got := s.Offers("bag_change", Taught{By: "pump"}); !slices.Equal(got, []string{"teach.throw"}) {
		t.Errorf("with a bag change: %v", got)
	}
}
