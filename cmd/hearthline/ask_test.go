package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
)

// asked runs the command over lines and returns its turns.
func asked(t *testing.T, household string, lines ...string) []dryTurn {
	t.Helper()
	var out bytes.Buffer
	c := &askCmd{Household: filepath.Join("..", "..", "testdata", "scenarios", "households", household), At: "2026-12-01 02:00", JSON: true}
	if err := c.Run(&streams{in: strings.NewReader(strings.Join(lines, "\n") + "\n"), out: &out}); err != nil {
		t.Fatal(err)
	}
	var turns []dryTurn
	for d := json.NewDecoder(&out); d.More(); {
		var turn dryTurn
		if err := d.Decode(&turn); err != nil {
			t.Fatal(err)
		}
		turns = append(turns, turn)
	}
	if len(turns) != len(lines) {
		t.Fatalf("%d lines in, %d out", len(lines), len(turns))
	}
	return turns
}

func TestAskWalksAConversation(t *testing.T) {
	turns := asked(t, "toddler.yaml",
		`{"after_min": 0, "text": "his tube came out"}`,
		`{"after_min": 5, "text": ""}`,
		`{"after_min": 0, "text": "he has trouble breathing"}`)
	first := turns[0]
	if first.Case == nil || first.Case.Protocol != "tube_out" || first.Case.AnswerByMin != 20 || first.Case.PageAfterMin != 0 || first.Case.State != "open" {
		t.Errorf("tube out: %+v", first.Case)
	}
	if len(first.Held) == 0 || len(first.Sent) < 2 || first.Sent[0].To != "caregiver" || first.Sent[len(first.Sent)-1].To != "nurse" {
		t.Errorf("tube out: sent %+v, held %v", first.Sent, first.Held)
	}
	if wait := turns[1]; string(wait.Reading) != "null" || wait.Case.AnswerByMin != 15 {
		t.Errorf("five minutes later: %+v %+v", wait, wait.Case)
	}
	if worse := turns[2]; worse.Case.Answer != "emergency" || worse.Case.AnswerByMin != 0 || worse.Case.PageAfterMin != 0 {
		t.Errorf("trouble breathing: %+v", worse.Case)
	}
}

func TestAskRefusesWhatIsNoLine(t *testing.T) {
	for in, want := range map[string]string{
		"his tube came out\n":                    "line 1",
		`{"after_min": -1, "text": "hi"}` + "\n": "want 0 or more",
	} {
		c := &askCmd{Household: filepath.Join("..", "..", "testdata", "scenarios", "households", "toddler.yaml"), At: "2026-12-01 02:00", JSON: true}
		if err := c.Run(&streams{in: strings.NewReader(in), out: &bytes.Buffer{}}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want an error with %q", in, err, want)
		}
	}
	c := &askCmd{Household: filepath.Join("..", "..", "testdata", "scenarios", "households", "toddler.yaml"), At: "yesterday"}
	if err := c.Run(&streams{in: strings.NewReader(""), out: &bytes.Buffer{}}); err == nil || !strings.Contains(err.Error(), "--at") {
		t.Errorf("a time that is none: %v", err)
	}
}
