package regimen

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"hearthline/internal/journal"
)

// WriteICS writes the prompts of n feed days as an iCalendar object (RFC 5545):
// one event a text, at UTC instants, so that no VTIMEZONE is needed and a clock
// change cannot be misread; each with an alarm at its time.
func (p *Plan) WriteICS(w io.Writer, day journal.Day, n int, say Phrases) error {
	var b strings.Builder
	line := func(name, value string) { foldLine(&b, name+":"+value) }
	line("BEGIN", "VCALENDAR")
	line("VERSION", "2.0")
	line("PRODID", "-//Hearthline//Feeding plan//EN")
	line("CALSCALE", "GREGORIAN")
	line("METHOD", "PUBLISH")
	for _, pr := range p.Prompts(day, n, Actual{}) {
		at := pr.At.UTC().Format("20060102T150405Z")
		household := p.orderAt(pr.At.Unix()).p.Household
		line("BEGIN", "VEVENT")
		line("UID", fmt.Sprintf("%s-%s@hearthline.invalid", household, at))
		// DTSTAMP is when the entry was made; a plan is a function of its file, so it is the instant itself.
		line("DTSTAMP", at)
		line("DTSTART", at)
		line("DTEND", pr.At.Add(5*time.Minute).UTC().Format("20060102T150405Z"))
		text := p.Text(pr, say)
		first, _, _ := strings.Cut(text, ". ")
		line("SUMMARY", icsText(first))
		line("DESCRIPTION", icsText(text))
		line("TRANSP", "TRANSPARENT")
		line("BEGIN", "VALARM")
		line("ACTION", "DISPLAY")
		line("DESCRIPTION", icsText(first))
		line("TRIGGER", "PT0S")
		line("END", "VALARM")
		line("END", "VEVENT")
	}
	line("END", "VCALENDAR")
	_, err := io.WriteString(w, b.String())
	return err
}

// icsText escapes a TEXT value (RFC 5545, 3.3.11).
func icsText(s string) string {
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\r\n", `\n`, "\n", `\n`).Replace(s)
}

// foldLine writes a content line, folded after 75 octets between characters and
// ended by CRLF (RFC 5545, 3.1).
func foldLine(b *strings.Builder, s string) {
	room := 75
	for len(s) > room {
		cut := room
		for !utf8.RuneStart(s[cut]) {
			cut--
		}
		b.WriteString(s[:cut] + "\r\n ")
		s, room = s[cut:], 74
	}
	b.WriteString(s + "\r\n")
}
