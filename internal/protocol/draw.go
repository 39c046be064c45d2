package protocol

import (
	"fmt"
	"html"
	"strings"

	"hearthline/internal/journal"
)

// Measures of a drawing, in SVG units; a page is 720 wide.
const (
	drawWidth   = 720
	drawLeft    = 20
	drawColumn  = 320 // width of the column of conditions
	drawRight   = 400 // where the column of outcomes begins
	drawOutcome = 300
	drawLine    = 15 // height of a line of text
	drawPad     = 8
	drawGap     = 16
	drawLetters = 44 // letters to a line of the condition column
)

// drawing collects boxes and arrows from top to bottom.
type drawing struct {
	b strings.Builder
	y int
}

// draw draws a protocol's decision: what opens it, the case at once, each rule
// with what it changes, and the questions.
func (s *Set) draw(p *protocol) string {
	d := &drawing{y: 10}
	opens := strings.Join(append(append([]string{}, p.file.Opens.Codes...), p.file.Opens.Triggers...), ", ")
	d.row("Opens on: "+strings.ReplaceAll(opens, "_", " "), p.file.Case.inWords(), shade(p.file.Case.Answer))
	for _, r := range p.rules {
		outcome, fill := "other words only", "#ffffff"
		switch {
		case r.Case != nil:
			outcome, fill = r.Case.inWords(), shade(r.Case.Answer)
		case r.GoesTo != "":
			outcome = "goes to the " + r.GoesTo
		case r.Advice == "":
			outcome = "holds: " + strings.Join(r.Hold, ", ")
		}
		d.row("If "+r.when.root.inWords(p.vocab), outcome, fill)
	}
	for i, q := range p.questions {
		text := s.Phrases(Fallback).Say(q.Ask, nil)
		if cut := strings.IndexAny(text, "?"); cut > 0 {
			text = text[:cut+1]
		}
		effect := "an answer under its own name"
		if q.Sets != "" {
			effect = "makes known: " + strings.ReplaceAll(q.Sets, "_", " ")
		}
		d.row(fmt.Sprintf("Asks %d: %s", i+1, text), effect, "#ffffff")
	}
	if p.settle != nil {
		d.row("May wait if "+p.settle.root.inWords(p.vocab), p.file.Settle.Case.inWords(), shade(p.file.Settle.Case.Answer))
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-label="Decision of the protocol %s">%s</svg>`,
		drawWidth, d.y, html.EscapeString(p.name), d.b.String())
}

// shade is the fill of an outcome; its words say the same, so that a print
// without colour loses nothing.
func shade(a journal.Answer) string {
	switch a {
	case journal.AnswerEmergency:
		return "#d9d9d9"
	case journal.AnswerMinutes:
		return "#ebebeb"
	}
	return "#f7f7f7"
}

// row draws a condition on the left and what it leads to on the right.
func (d *drawing) row(left, right, fill string) {
	l, r := wrap(left, drawLetters), wrap(right, drawLetters-2)
	height := max(len(l), len(r))*drawLine + 2*drawPad
	if d.y > 10 {
		fmt.Fprintf(&d.b, `<path d="M%d %d v%d" stroke="black" fill="none"/>`, drawLeft+drawColumn/2, d.y-drawGap, drawGap)
	}
	d.box(drawLeft, drawColumn, height, "#ffffff", l)
	d.box(drawRight, drawOutcome, height, fill, r)
	middle := d.y + height/2
	fmt.Fprintf(&d.b, `<path d="M%d %d H%d m-6 -4 l6 4 l-6 4" stroke="black" fill="none"/>`, drawLeft+drawColumn, middle, drawRight)
	d.y += height + drawGap
}

func (d *drawing) box(x, width, height int, fill string, lines []string) {
	fmt.Fprintf(&d.b, `<rect x="%d" y="%d" width="%d" height="%d" rx="4" fill="%s" stroke="black"/>`, x, d.y, width, height, fill)
	for i, line := range lines {
		fmt.Fprintf(&d.b, `<text x="%d" y="%d" font-size="12" font-family="sans-serif">%s</text>`,
			x+drawPad, d.y+drawPad+11+i*drawLine, html.EscapeString(line))
	}
}

// wrap breaks a text into lines of at most so many letters, between words.
func wrap(text string, letters int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > letters {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}
