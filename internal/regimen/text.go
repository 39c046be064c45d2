package regimen

import (
	"strconv"
	"strings"
	"time"

	"hearthline/internal/journal"
)

// Keys that prompts are said with; flows/messages/prompts.*.yaml holds their words.
const (
	sayPlacement   = "prompt.placement"       // {mark} {ph}
	sayPlacementPH = "prompt.placement_ph"    // {ph}
	sayPlacementCM = "prompt.placement_mark"  // {mark}
	sayLines       = "prompt.trace"           //
	sayBag         = "prompt.bag"             //
	sayMedication  = "prompt.medication"      // {at} {ml} {n}
	sayFlushBefore = "prompt.flush_before"    // {ml}
	sayFlushAfter  = "prompt.flush_after"     // {ml}
	sayFlushDuring = "prompt.flush_during"    // {ml} {times}
	sayFlushEvery  = "prompt.flush_every"     // {ml} {n}
	sayFlush       = "prompt.flush"           // {at} {ml}
	sayPort        = sayFlush + portKey       // {at} {ml} {port}
	sayStart       = "prompt.start"           // {at} {feed} {ml} {rate}
	sayStartNoPump = "prompt.start_by_hand"   // {at} {feed} {ml}
	sayFirstFill   = "prompt.first_fill"      // {ml}
	sayRefill      = "prompt.refill"          // {at} {ml}
	sayRefillAhead = "prompt.refill_ahead"    // {at} {ml}
	sayMouth       = "prompt.mouth"           // {ml}
	sayAskStart    = "prompt.ask_start"       //
	sayAskEnd      = "prompt.ask_end"         // {feed} {ml}
	sayAskNight    = "prompt.ask_night"       // {feed} {ml}
	sayAskShort    = "prompt.ask_short"       // {ml}
	sayEnd         = "prompt.end"             // {at} {feed} {ml}
	sayAskFlush    = "prompt.ask_flush"       //
	sayEvening     = "prompt.evening"         // {ml}
	sayRunning     = "prompt.running"         // {feed}
	sayReadRate    = "prompt.read_rate"       // {now} {was}
	sayReadVolume  = "prompt.read_volume"     // {feed} {now} {was}
	sayKeepRate    = "prompt.keep_rate"       //
	sayHelp        = "prompt.help"            //
	sayNext        = "prompt.next"            // {at} {feed}
	sayMore        = "prompt.more"            //
	sayAskRunning  = "prompt.done_or_running" // {feed} {at}
)

// portKey is what a key ends in that says the port as well, as {port}; each key
// that is said of a feed has such a twin for tubes with two ports.
const portKey = "_port"

// closedKey is what a key ends in that is said of containers that hang as they
// are, where its twin speaks of a bag that is filled.
const closedKey = "_closed"

// dropTalk is the drop from which on a sentence tells nothing to do.
const dropTalk = 3

// piece is a sentence of a prompt; those with a higher drop go first where the
// text is too long, and those with 0 stay.
type piece struct {
	text string
	drop int
	size size
}

// Text says the prompt in a language: what to do in the order in which it is
// done, then what is asked. It fits two SMS segments: where everything does
// not, what is said elsewhere as well gives way.
func (p *Plan) Text(pr Prompt, w Phrases) string {
	c := composer{p: p, pr: &pr, w: w, o: p.orderAt(pr.At.Unix())}
	c.compose()
	return c.fit()
}

type composer struct {
	p      *Plan
	o      *order
	pr     *Prompt
	w      Phrases
	pieces []piece
}

func (c *composer) say(drop int, key string, args ...string) {
	m := make(map[string]string, len(args)/2)
	for i := 0; i+1 < len(args); i += 2 {
		m[args[i]] = args[i+1]
	}
	if s := c.w.Say(key, m); s != "" {
		c.pieces = append(c.pieces, piece{s, drop, sizeOf(s)})
	}
}

// sayOf is say for a sentence about a feed: where its tube has two ports, the
// sentence names the one that the feed goes into.
func (c *composer) sayOf(feed string, drop int, key string, args ...string) {
	if port := c.portOf(feed); port != "" {
		key, args = key+portKey, append(args, "port", port)
	}
	c.say(drop, key, args...)
}

// hung returns the key for the system in use: a bag that is filled, or containers.
func (c *composer) hung(key string) string {
	if c.o.p.closed() {
		return key + closedKey
	}
	return key
}

// portOf returns the words for the port that a feed goes into; "" where the
// tube has one.
func (c *composer) portOf(feed string) string {
	f := c.feedOrder(feed)
	if f == nil || f.Port == "" {
		return ""
	}
	return c.w.Say(portWords(string(f.Port)), nil)
}

// portWords is the key of a port's words.
func portWords(port string) string { return "prompt.port_" + port }

func (c *composer) compose() {
	pr := c.pr
	if pr.Asks.Kind == AskCheckin && pr.Asks.Occurrence == "" {
		c.say(0, sayEvening, "ml", mlText(pr.Asks.ExpectedML))
		c.say(1, sayHelp)
		return
	}
	c.ends()
	for i := 0; i < len(pr.Acts); i++ {
		if a := &pr.Acts[i]; a.Occurrence == "" {
			c.water(a)
		} else if i == 0 || firstOf(pr.Acts[:i], a.Occurrence) {
			c.feed(a.Occurrence)
		}
	}
	c.asks()
}

// firstOf reports whether none of the acts is of the occurrence.
func firstOf(acts []Act, occurrence string) bool {
	for i := range acts {
		if acts[i].Occurrence == occurrence {
			return false
		}
	}
	return true
}

// ends says which feeds have ended, the asked one as the question of the text.
func (c *composer) ends() {
	for i := range c.pr.Acts {
		a := &c.pr.Acts[i]
		if a.Kind != ActFeedEnd || c.has(a.Occurrence, ActFeedStart) != nil {
			continue
		}
		switch {
		case a.Occurrence == c.pr.Asks.Occurrence && c.ranAtNight(a):
			c.say(0, sayAskNight, "feed", a.Feed, "ml", mlText(a.ML))
			c.say(1, sayHelp)
		case a.Occurrence == c.pr.Asks.Occurrence && c.pr.Asks.Kind == AskFeedEnd:
			c.say(0, sayAskEnd, "feed", a.Feed, "ml", mlText(a.ML))
		default:
			c.say(3, sayEnd, "at", c.w.Clock(a.At), "feed", a.Feed, "ml", mlText(a.ML))
		}
		if f := c.after(a.Occurrence, a.At); f != nil {
			c.sayOf(f.Feed, 2, sayFlushAfter, "ml", mlText(f.ML))
		}
	}
}

// ranAtNight reports whether the feed that has ended ran in quiet hours, so that
// nobody may have seen how it went.
func (c *composer) ranAtNight(end *Act) bool {
	day, known := c.p.DayStart(keyDay(end.Occurrence))
	if !known || !c.o.quiet {
		return false
	}
	for _, x := range c.p.FeedDay(day).Feeds {
		if x.Key != end.Occurrence {
			continue
		}
		begin := x.Start.Hour()*60 + x.Start.Minute()
		toQuiet := time.Duration((c.o.quietFrom-begin+1440)%1440) * time.Minute
		return c.o.quietClock(Clock(begin)) || end.At.Sub(x.Start) > toQuiet
	}
	return false
}

// has returns the first act of the kind of an occurrence.
func (c *composer) has(occurrence string, k ActKind) *Act {
	for i := range c.pr.Acts {
		if a := &c.pr.Acts[i]; a.Occurrence == occurrence && a.Kind == k {
			return a
		}
	}
	return nil
}

// after returns the flush of the occurrence that stands at its end.
func (c *composer) after(occurrence string, end time.Time) *Act {
	for i := range c.pr.Acts {
		if a := &c.pr.Acts[i]; a.Occurrence == occurrence && a.Kind == ActFlush && a.At.Equal(end) {
			return a
		}
	}
	return nil
}

func (c *composer) water(a *Act) {
	at := c.w.Clock(a.At)
	switch {
	case a.Kind == ActMedication:
		c.say(1, sayMedication, "at", at, "ml", mlText(a.ML), "n", strconv.Itoa(a.Medicines+1), "each", mlText(a.ML/journal.ML(a.Medicines+1)))
	case a.Kind == ActFlush:
		c.say(1, sayPort, "at", at, "ml", mlText(a.ML), "port", c.w.Say(portWords(a.Feed), nil))
	}
}

// feed says what is to be done for one occurrence.
func (c *composer) feed(key string) {
	start, end := c.has(key, ActFeedStart), c.has(key, ActFeedEnd)
	if start != nil {
		c.start(key, start)
	}
	c.during(key, start, end)
	if start != nil && end != nil {
		if f := c.after(key, end.At); f != nil && !f.At.Equal(start.At) {
			c.sayOf(f.Feed, 2, sayFlushAfter, "ml", mlText(f.ML))
		}
	}
	if check := c.has(key, ActCheckin); check != nil && c.pr.ReadBack == nil {
		c.say(0, sayRunning, "feed", check.Feed)
	}
}

func (c *composer) start(key string, start *Act) {
	p := c.o.p
	if c.has(key, ActPlacementCheck) != nil && p.PlacementCheck != nil {
		mark, ph := p.PlacementCheck.MarkCM, p.PlacementCheck.PHMax
		switch {
		case mark > 0 && ph > 0:
			c.say(0, sayPlacement, "mark", mark.String(), "ph", ph.String())
		case ph > 0:
			c.say(0, sayPlacementPH, "ph", ph.String())
		default:
			c.say(0, sayPlacementCM, "mark", mark.String())
		}
	}
	if c.has(key, ActBagChange) != nil {
		c.say(2, c.hung(sayBag))
	}
	for i := range c.pr.Acts {
		if a := &c.pr.Acts[i]; a.Occurrence == key && a.Kind == ActFlush && a.At.Equal(start.At) {
			c.sayOf(a.Feed, 2, sayFlushBefore, "ml", mlText(a.ML))
			break
		}
	}
	f := c.feedOrder(start.Feed)
	if f != nil && f.By == ByPump {
		c.sayOf(start.Feed, 0, sayStart, "at", c.w.Clock(start.At), "feed", start.Feed, "ml", mlText(start.ML), "rate", f.RateMLPerH.String())
	} else {
		c.sayOf(start.Feed, 0, sayStartNoPump, "at", c.w.Clock(start.At), "feed", start.Feed, "ml", mlText(start.ML))
	}
	if fill := c.has(key, ActFill); fill != nil && fill.ML != start.ML {
		c.say(1, c.hung(sayFirstFill), "ml", mlText(fill.ML))
	}
	if len(p.OtherLines) > 0 {
		c.say(0, sayLines)
	}
	if p.ByMouthFirst {
		c.say(1, sayMouth, "ml", mlText(start.ML))
	}
}

func (c *composer) feedOrder(name string) *FeedOrder {
	for i := range c.o.p.Feeds {
		if c.o.p.Feeds[i].Name == name {
			return &c.o.p.Feeds[i]
		}
	}
	return nil
}

// during says the flushes and fills while the feed runs.
func (c *composer) during(key string, start, end *Act) {
	var times []string
	var ml journal.ML
	var only *Act
	n := 0
	for i := range c.pr.Acts {
		a := &c.pr.Acts[i]
		if a.Occurrence != key || (start != nil && a.At.Equal(start.At)) || (end != nil && a.At.Equal(end.At)) {
			continue
		}
		switch a.Kind {
		case ActFlush:
			times, ml, only = append(times, c.w.Clock(a.At)), a.ML, a
		case ActFill:
			k, drop := sayRefill, 0
			if start != nil {
				k, drop = sayRefillAhead, 1
			}
			if n++; n > 3 {
				drop = 3
			}
			c.say(drop, c.hung(k), "at", c.w.Clock(a.At), "ml", mlText(a.ML))
		}
	}
	switch {
	case len(times) == 1 && start == nil:
		c.sayOf(only.Feed, 0, sayFlush, "at", c.w.Clock(only.At), "ml", mlText(ml))
	case len(times) > 1 && c.o.p.Flush.EveryH > 0:
		c.sayOf(only.Feed, 1, sayFlushEvery, "ml", mlText(ml), "n", c.o.p.Flush.EveryH.String())
	case len(times) > 0:
		c.sayOf(only.Feed, 1, sayFlushDuring, "ml", mlText(ml), "times", strings.Join(times, ", "))
	}
}

// asks says the question, where the text has not asked it yet.
func (c *composer) asks() {
	pr := c.pr
	if rb := pr.ReadBack; rb != nil && pr.Asks.Kind == AskReadBack {
		if rb.Rate != rb.WasHad {
			c.say(0, sayReadRate, "now", rb.Rate.String(), "was", rb.WasHad.String())
		} else {
			c.say(0, sayReadVolume, "feed", rb.Feed, "now", mlText(rb.ML), "was", mlText(rb.WasML))
		}
		return
	}
	switch pr.Asks.Kind {
	case AskFeedEnd:
		if c.has(pr.Asks.Occurrence, ActFeedStart) != nil {
			c.say(0, sayAskShort, "ml", mlText(pr.Asks.ExpectedML))
		}
	case AskFeedStart:
		c.say(0, sayAskStart)
	case AskFlush, AskBagChange:
		c.say(1, sayAskFlush)
	}
}

// fit joins the pieces, leaving out what gives way until two segments hold
// them. Where something to do had to go, the text says that the plan has more.
func (c *composer) fit() string {
	more := piece{text: c.w.Say(sayMore, nil)}
	more.size = sizeOf(more.text)
	keep, lost := c.pieces, false
	for {
		said := keep
		if lost && len(keep) > 0 {
			last := len(keep) - 1
			said = append(append(append([]piece(nil), keep[:last]...), more), keep[last])
		}
		if len(said) == 0 || fits(said) {
			return joinPieces(said)
		}
		worst := -1
		for i := range keep {
			if keep[i].drop > 0 && (worst < 0 || keep[i].drop >= keep[worst].drop) {
				worst = i
			}
		}
		if worst < 0 {
			// Several feeds in one text: the first are said, and the question.
			if worst = len(keep) - 2; worst < 0 {
				return more.text
			}
		}
		lost = lost || keep[worst].drop < dropTalk
		keep = append(append([]piece(nil), keep[:worst]...), keep[worst+1:]...)
	}
}

func joinPieces(ps []piece) string {
	var b strings.Builder
	b.Grow(320)
	for i := range ps {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(ps[i].text)
	}
	return b.String()
}

func mlText(ml journal.ML) string { return strconv.FormatInt(int64(ml), 10) }
