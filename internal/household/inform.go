package household

import (
	"slices"
	"strconv"
	"strings"
	"unicode"

	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
	"hearthline/internal/reply"
)

// inform answers what the regimen itself answers (how much is left, when does
// it end, what is next, how much water) and carries out a wish for fewer or
// more texts. It does so only for a text that is nothing else.
func (d *decision) inform(t reading) bool {
	if d.s.Status == Stranger || t.shared || t.files > 0 || len(t.Present) > 0 || t.Handling == reply.Emergency || t.GivenML != nil {
		return false
	}
	words := plainWords(d.s.withoutTag(t.body))
	if level, ok := d.w.Asking.level(words); ok {
		level = d.step(level)
		d.add(journal.Entry{Kind: journal.KindLevel, Level: &journal.Level{Level: level, Text: t.id}})
		d.send(d.sender(t), journal.ClassAnswer, d.tagged(d.say(t.from.Lang, "level."+level, nil)), "answer", "", false)
		return true
	}
	q, ok := d.w.Asking.question(words)
	if !ok || !t.has("question") {
		return false
	}
	plan, err := d.plan()
	if err != nil || plan == nil {
		return false
	}
	d.send(d.sender(t), journal.ClassAnswer, d.tagged(plan.Answer(regimen.Question(q), d.now.In(d.zone()), d.s.Actual, d.phrases(t.from.Lang))), "answer", "", false)
	return true
}

// step turns "fewer" and "more" into the next level from the one in force; a
// family that names the evening gets it at once.
func (d *decision) step(wish string) string {
	levels := []regimen.Level{regimen.EachStep, regimen.EachFeed, regimen.Evening}
	now := d.s.Actual.Level
	if p, known := d.s.prescription(); known && now == "" {
		now = p.Prompts.Level
	}
	if now == "" {
		now = d.w.Limits.DefaultLevel
	}
	i := slices.Index(levels, now)
	switch regimen.Level(wish) {
	case regimen.EachFeed: // "fewer"
		i = min(i+1, len(levels)-1)
	case regimen.EachStep: // "more"
		i = max(i-1, 0)
	default:
		return wish
	}
	return string(levels[max(i, 0)])
}

// taught answers a question that a teaching text surely answers, when there is
// nothing but the question; the thread shows it to the nurse as answered.
func (d *decision) taught(t reading, f protocol.Facts) bool {
	if len(f.Present) > 0 || len(f.Triggers) != 1 || f.Triggers[0] != "question" || t.from.Ref == "" {
		return false
	}
	p, known := d.s.prescription()
	if !known {
		return false
	}
	key, sure := d.w.Protocols.Teach(d.s.withoutTag(t.body), taughtOf(p))
	if !sure {
		return false
	}
	d.send(t.from, journal.ClassAnswer, d.tagged(d.say(t.from.Lang, key, taughtOf(p).Args)), "teaching", "", false)
	return true
}

// taughtOf is what the regimen gives to a teaching text; what it does not give
// is not taught.
func taughtOf(p regimen.Prescription) protocol.Taught {
	h := protocol.Taught{TubeKind: string(p.Tube.Kind), Args: map[string]string{}}
	for i, f := range p.Feeds {
		by := string(f.By)
		if by == "" {
			by = "pump"
		}
		if i > 0 && by != h.By {
			h.By = "" // mixed: what holds for one does not hold for all
			break
		}
		h.By = by
	}
	if len(p.Feeds) == 1 {
		h.Args["rate"] = p.Feeds[0].RateMLPerH.String()
	}
	if p.Flush.BeforeML > 0 && p.Flush.BeforeML == p.Flush.AfterML {
		h.Args["flush"] = strconv.FormatInt(int64(p.Flush.BeforeML), 10)
	}
	return h
}

// plainWords are a text's words in lower case, without what stands between them.
func plainWords(body string) []string {
	return strings.FieldsFunc(strings.ToLower(body), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

// says reports whether words hold one of the phrases, in one piece.
func says(words []string, phrases []string) bool {
	all := " " + strings.Join(words, " ") + " "
	for _, p := range phrases {
		if strings.Contains(all, " "+p+" ") {
			return true
		}
	}
	return false
}
