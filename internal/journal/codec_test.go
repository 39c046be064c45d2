package journal

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func samples() []Entry {
	raw := json.RawMessage(`{"a":1}`)
	head := func(seq int64, k Kind) Entry {
		return Entry{V: CodecVersion, Seq: seq, At: 1796000000000, By: "engine", Flows: "f1", Kind: k}
	}
	fed := head(1, KindFed)
	fed.Fed = &Fed{Day: "2026-05-02", Occurrence: "2026-05-02/overnight#1", GivenML: 150, Text: "maple-17.4.0"}
	in := head(2, KindTextIn)
	in.TextIn = &TextIn{ID: "maple-17.4.0", From: "c1", Carrier: "m-1", Got: 5, Body: "gave 150", Reading: raw, Settles: true}
	opened := head(3, KindCaseOpened)
	opened.CaseOpened = &CaseOpened{Case: "maple-17.4.1", Protocol: "vomiting", Codes: []string{"vomiting"}, Answer: AnswerMinutes, AnswerBy: 9, GoesTo: "nurse"}
	paused := head(4, KindPaused)
	paused.Paused = &Paused{On: true}
	return []Entry{fed, in, opened, paused}
}

func TestEntriesRoundTrip(t *testing.T) {
	for _, e := range samples() {
		b, err := Encode(e)
		if err != nil {
			t.Fatalf("Encode(%s): %v", e.Kind, err)
		}
		back, err := Decode(b)
		if err != nil {
			t.Fatalf("Decode(%s): %v", e.Kind, err)
		}
		if d := cmp.Diff(e, back); d != "" {
			t.Errorf("%s changed on the way: %s", e.Kind, d)
		}
	}
}

func TestDecodeRefuses(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"not JSON", `{`, "journal entry"},
		{"a later version", `{"v":2,"kind":"paused","paused":{"on":true}}`, "reads 1 to 1"},
		{"no version", `{"kind":"paused","paused":{"on":true}}`, "version 0"},
		{"an unknown field", `{"v":1,"kind":"paused","paused":{"on":true,"x":1}}`, "x"},
		{"an unknown kind", `{"v":1,"kind":"slept"}`, "slept"},
		{"no payload", `{"v":1,"kind":"fed"}`, "fed"},
		{"two payloads", `{"v":1,"kind":"paused","paused":{"on":true},"day_closed":{"day":"2026-05-02"}}`, "day_closed"},
	} {
		if _, err := Decode([]byte(c.in)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one that says %q", c.name, err, c.want)
		}
	}
}

func FuzzDecode(f *testing.F) {
	for _, e := range samples() {
		b, err := Encode(e)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := Decode(b)
		if err != nil {
			return
		}
		again, err := Encode(e)
		if err != nil {
			t.Fatalf("decoded, but does not encode: %v", err)
		}
		if _, err := Decode(again); err != nil {
			t.Fatalf("does not decode a second time: %v", err)
		}
	})
}

func TestHouseholdOfIsTheInverseOfMakeID(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := HouseholdID(rapid.StringMatching(`[a-z][a-z0-9]{0,8}(-[a-z0-9]{1,4}){0,2}`).Draw(t, "household"))
		id := MakeID(h, rapid.Int64Range(1, 1<<40).Draw(t, "version"), rapid.IntRange(0, 99).Draw(t, "index"))
		if got := HouseholdOf(id); got != h {
			t.Fatalf("HouseholdOf(%q) = %q, want %q", id, got, h)
		}
	})
	for _, id := range []string{"", "maple-17", "maple-17.4", "..", "."} {
		if got := HouseholdOf(id); id != ".." && got != "" {
			t.Errorf("HouseholdOf(%q) = %q, want none", id, got)
		}
	}
}
