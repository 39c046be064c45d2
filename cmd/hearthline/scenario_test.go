package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"hearthline/flows"
	"hearthline/internal/journal"
)

// scenario is one file of testdata/scenarios, as a nurse writes it.
type scenario struct {
	Household string         `yaml:"household"` // a file of testdata/scenarios/households
	At        string         `yaml:"at"`        // local time
	Steps     []scenarioStep `yaml:"steps"`
}

type scenarioStep struct {
	Says    string   `yaml:"says"`
	Wait    float64  `yaml:"wait"` // minutes
	Case    string   `yaml:"case"` // protocol that leads, or none
	Answer  string   `yaml:"answer"`
	GoesTo  string   `yaml:"goes_to"`
	Told    []string `yaml:"told"`     // words that some text to the caregiver has
	NotTold []string `yaml:"not_told"` // words that no text to the caregiver has
	Held    []string `yaml:"held"`
}

// answerOf names an answer as the scenario files do.
func answerOf(c dryCase) string {
	switch c.Answer {
	case journal.AnswerEmergency:
		return "emergency"
	case journal.AnswerNext:
		return "before next"
	case journal.AnswerDayList:
		return "day list"
	}
	return (journal.Minutes(c.AnswerByMin).Duration().String())
}

var spoken = map[string]string{"20 minutes": "20m0s", "60 minutes": "1h0m0s"}

// Every scenario runs through the same Decide as the service.
func TestScenarios(t *testing.T) {
	root := filepath.Join("..", "..", "testdata", "scenarios")
	files, err := filepath.Glob(filepath.Join(root, "*.yaml"))
	if err != nil || len(files) < 60 {
		t.Fatalf("%d scenarios in %s (%v), want at least 60", len(files), root, err)
	}
	w, err := loadWorld(flows.FS, pretendBranch())
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".yaml"), func(t *testing.T) {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var sc scenario
			if err := yaml.UnmarshalWithOptions(b, &sc, yaml.Strict()); err != nil {
				t.Fatal(err)
			}
			order, err := os.ReadFile(filepath.Join(root, "households", sc.Household+".yaml"))
			if err != nil {
				t.Fatal(err)
			}
			d, err := newDry(w, sc.Household+".yaml", order, sc.At)
			if err != nil {
				t.Fatal(err)
			}
			for i, step := range sc.Steps {
				turn, err := d.say(saidAfter{AfterMin: step.Wait, Text: step.Says})
				if err != nil {
					t.Fatal(err)
				}
				holds(t, i, step, turn)
			}
		})
	}
}

// holds compares one step with what followed.
func holds(t *testing.T, i int, step scenarioStep, turn dryTurn) {
	t.Helper()
	var told []string
	for _, text := range turn.Sent {
		if text.To == "caregiver" {
			told = append(told, text.Text)
		}
	}
	all := strings.Join(told, "\n")
	if strings.ContainsAny(all, "{}[]") {
		t.Errorf("step %d: a text goes out with a hole in it: %s", i+1, all)
	}
	for _, want := range step.Told {
		if !strings.Contains(all, want) {
			t.Errorf("step %d, %q: family is not told %q but %q", i+1, step.Says, want, all)
		}
	}
	for _, not := range step.NotTold {
		if strings.Contains(all, not) {
			t.Errorf("step %d, %q: family is told %q in %q", i+1, step.Says, not, all)
		}
	}
	for _, kind := range step.Held {
		if !slices.Contains(turn.Held, kind) {
			t.Errorf("step %d, %q: %s is not held, only %v", i+1, step.Says, kind, turn.Held)
		}
	}
	switch {
	case step.Case == "":
	case step.Case == "none":
		if turn.Case != nil {
			t.Errorf("step %d, %q: opened %s, want no case; reading %s", i+1, step.Says, turn.Case.Protocol, turn.Reading)
		}
	case turn.Case == nil:
		t.Errorf("step %d, %q: no case, want %s; reading %s", i+1, step.Says, step.Case, turn.Reading)
	default:
		want := step.Answer
		if s, ok := spoken[want]; ok {
			want = s
		}
		if got := answerOf(*turn.Case); turn.Case.Protocol != step.Case || want != "" && got != want {
			t.Errorf("step %d, %q: case %s, %s; want %s, %s; reading %s", i+1, step.Says, turn.Case.Protocol, got, step.Case, step.Answer, turn.Reading)
		}
		if step.GoesTo != "" && turn.Case.GoesTo != step.GoesTo {
			t.Errorf("step %d: goes to %s, want %s", i+1, turn.Case.GoesTo, step.GoesTo)
		}
	}
}
