// Package sim runs pretend households through the very same engine on a
// virtual clock: the life of the demo, and the load of the simulation. All of
// it follows from one seed: same seed, same day.
package sim

import (
	"bytes"
	"embed"
	"fmt"
	"io/fs"
	"path"
	"strings"

	"github.com/goccy/go-yaml"

	"hearthline/internal/carrier"
	"hearthline/internal/household"
	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

//go:embed scenario/*.yaml
var scenario embed.FS

// Home is one pretend household: what is on file of it, and how its family behaves.
type Home struct {
	ID    journal.HouseholdID
	About string // what is special about it, for the demo's pages
	Enrol household.Enrol
	Habit Habit
}

// Habit is how a pretend family answers.
type Habit struct {
	Voice    string     `yaml:"voice"`
	Answers  float64    `yaml:"answers"`   // share of questions that are answered
	DelayMin [2]int     `yaml:"delay_min"` // least and most minutes until the answer
	Gives    [2]float64 `yaml:"gives"`     // least and most share of the prescribed volume
	Says     []Saying   `yaml:"says"`
}

// Saying is a text that comes unasked, at a local time of a day of the run.
type Saying struct {
	Day  int    `yaml:"day"` // 0 is the day on which the run begins
	At   string `yaml:"at"`
	Text string `yaml:"text"`
}

// voices are the texts of pretend families, by voice and by what was asked.
type voices map[string]map[string][]string

// Scenario reads the demo's households, in order of their codes.
func Scenario(lim *regimen.Limits) ([]Home, error) {
	files, err := fs.Glob(scenario, "scenario/*.yaml")
	if err != nil {
		return nil, err
	}
	var habits map[string]Habit
	if err := read("habits.yaml", &habits); err != nil {
		return nil, err
	}
	var homes []Home
	for _, file := range files {
		name := path.Base(file)
		if strings.HasSuffix(name, ".regimen.yaml") || name == "habits.yaml" || name == "voices.yaml" {
			continue
		}
		src, err := scenario.ReadFile(file)
		if err != nil {
			return nil, err
		}
		beside := func(name string) ([]byte, error) { return scenario.ReadFile("scenario/" + name) }
		id, enrol, _, err := household.ParseFile(name, src, beside, fictitious, lim)
		if err != nil {
			return nil, err
		}
		enrol.By = "staff:demo"
		habit, known := habits[string(id)]
		if !known {
			return nil, fmt.Errorf("habits.yaml has nothing about %s", id)
		}
		homes = append(homes, Home{ID: id, About: about(src), Enrol: enrol, Habit: habit})
	}
	return homes, nil
}

// about takes the remark from a file's first line.
func about(src []byte) string {
	line, _, _ := bytes.Cut(src, []byte("\n"))
	_, text, _ := strings.Cut(string(line), "No such person. ")
	return strings.TrimSuffix(text, ".")
}

// fictitious takes the numbers that are set aside for fiction.
func fictitious(raw string) (string, error) {
	return carrier.E164(raw, "US", carrier.Fictitious)
}

func read(name string, v any) error {
	src, err := scenario.ReadFile("scenario/" + name)
	if err != nil {
		return err
	}
	if err := yaml.NewDecoder(bytes.NewReader(src), yaml.Strict()).Decode(v); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

// Many makes n households of the scenario's kinds, in turn, each under a code
// and with phones of its own. The numbers are not anybody's: no country has them.
func Many(kinds []Home, n int) []Home {
	if n <= len(kinds) {
		return kinds[:n]
	}
	homes := make([]Home, 0, n)
	phones := map[string]string{}
	for i := range n {
		h := kinds[i%len(kinds)]
		round := i / len(kinds)
		if round > 0 {
			h.ID = journal.HouseholdID(fmt.Sprintf("%s-%d", h.ID, round))
			who := h.Enrol.Who
			who.Caregivers = append([]journal.Caregiver(nil), who.Caregivers...)
			for j := range who.Caregivers {
				c := &who.Caregivers[j]
				key := fmt.Sprintf("%d %s", round, c.Phone) // twins go on sharing theirs
				if phones[key] == "" {
					phones[key] = fmt.Sprintf("+999%09d", len(phones)+1)
				}
				c.Phone = phones[key]
			}
			h.Enrol.Who = who
		}
		homes = append(homes, h)
	}
	return homes
}
