package sim

import (
	"hash/fnv"
	"math/rand/v2"
	"strconv"
	"strings"
	"time"

	"hearthline/internal/household"
	"hearthline/internal/journal"
)

// family is one pretend family: it gets texts and decides when, and what, to answer.
type family struct {
	home   Home
	random *rand.Rand
	seen   map[journal.TextID]bool // prompts it has made up its mind about
}

// newFamily seeds a family by the run's seed and its own code, so that what it
// does never hangs on what other families do.
func newFamily(h Home, seed uint64) *family {
	f := fnv.New64a()
	_, _ = f.Write([]byte(h.ID)) // a hash never fails to write
	return &family{home: h, random: rand.New(rand.NewPCG(seed, f.Sum64())), seen: map[journal.TextID]bool{}}
}

// message is a text that a pretend caregiver will send.
type message struct {
	at   time.Time
	from string // E.164
	body string
	// settles is the prompt that it answers: when somebody answered meanwhile,
	// it is not sent.
	settles journal.TextID
	home    journal.HouseholdID
}

// hears makes up the family's mind about a prompt that reached it; nil if it
// will not answer.
func (f *family) hears(p household.Prompt, phone string, now time.Time, v voices) *message {
	if f.seen[p.ID] || p.Asks == "" {
		return nil
	}
	f.seen[p.ID] = true
	h := f.home.Habit
	// The same number of draws whatever comes of them: one habit changed must
	// not shift every later choice.
	answers, delay, share, pick := f.random.Float64(), f.random.IntN(max(1, h.DelayMin[1]-h.DelayMin[0]+1)), f.random.Float64(), f.random.IntN(1000)
	texts := v[h.Voice][p.Asks]
	if answers >= h.Answers || len(texts) == 0 {
		return nil
	}
	ml := int64(float64(p.ExpectedML)*(h.Gives[0]+share*(h.Gives[1]-h.Gives[0])) + 0.5)
	body := texts[pick%len(texts)]
	body = strings.ReplaceAll(body, "{ml}", strconv.FormatInt(ml, 10))
	body = strings.ReplaceAll(body, "{tag}", f.home.Enrol.Who.Tag)
	return &message{at: now.Add(time.Duration(h.DelayMin[0]+delay) * time.Minute), from: phone, body: strings.TrimSpace(body), settles: p.ID, home: f.home.ID}
}

// sayings are the texts that come unasked, at instants of the run.
func (f *family) sayings(start time.Time) []message {
	var out []message
	zone, err := time.LoadLocation(f.home.Enrol.Who.Zone)
	if err != nil || len(f.home.Enrol.Who.Caregivers) == 0 {
		return nil // the household could not have been enrolled
	}
	local := start.In(zone)
	for _, s := range f.home.Habit.Says {
		hm, err := time.Parse("15:04", s.At)
		if err != nil {
			continue
		}
		at := time.Date(local.Year(), local.Month(), local.Day()+s.Day, hm.Hour(), hm.Minute(), 0, 0, zone)
		if at.After(start) {
			out = append(out, message{at: at, from: f.home.Enrol.Who.Caregivers[0].Phone, body: s.Text, home: f.home.ID})
		}
	}
	return out
}
