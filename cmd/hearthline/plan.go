package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"hearthline/flows"
	"hearthline/internal/fhir"
	"hearthline/internal/journal"
	"hearthline/internal/protocol"
	"hearthline/internal/regimen"
)

// planCmd prints what a regimen asks for, from a regimen file or a FHIR R4
// NutritionOrder, or a Bundle that holds one.
type planCmd struct {
	File     string `arg:"" help:"Regimen file (YAML), or FHIR R4 NutritionOrder or Bundle (JSON); - reads standard input."`
	From     string `placeholder:"DATE" help:"First feed day, such as 2026-05-02; today without it."`
	Days     int    `default:"1" help:"How many feed days, 1 to 1830."`
	JSON     bool   `name:"json" help:"JSON Lines, one text a line; with --summary one object."`
	Summary  bool   `help:"What the days come to: volumes, energy, water, containers, texts."`
	ICS      bool   `name:"ics" xor:"form" help:"An iCalendar file that a phone's calendar accepts."`
	HTML     bool   `name:"html" xor:"form" help:"A page to print for the refrigerator door: the first day, one row an action."`
	Lang     string `help:"Language of table, calendar and page; the household's first without it."`
	Accept   bool   `help:"Print although a number is unusual and needs a person's word."`
	TimeZone string `help:"The household's time zone, for a FHIR order, which names none." placeholder:"ZONE"`
	Limits   string `type:"existingfile" help:"Limits to use in place of the built-in flows/limits.yaml."`
}

// Run prints the plan on out and what must be confirmed on err. It fails, and
// prints no plan, on a file with any error in it.
func (c *planCmd) Run(s *streams) error { return c.run(s, time.Now()) }

func (c *planCmd) run(s *streams, now time.Time) error {
	if c.Days < 1 || c.Days > 1830 {
		return fmt.Errorf("--days %d: want 1 to 1830", c.Days)
	}
	src, err := c.read(s.in)
	if err != nil {
		return err
	}
	lim, err := c.limits()
	if err != nil {
		return err
	}
	p, err := c.prescription(s, src, lim, now)
	if err != nil {
		return err
	}
	plan, err := regimen.Compile(p, lim)
	if err != nil {
		return fmt.Errorf("%s: %w", c.File, err)
	}
	return c.print(s.out, plan, p, now)
}

func (c *planCmd) read(in io.Reader) ([]byte, error) {
	if c.File == "-" {
		return io.ReadAll(io.LimitReader(in, 1<<20))
	}
	return os.ReadFile(c.File)
}

func (c *planCmd) limits() (*regimen.Limits, error) {
	if c.Limits != "" {
		src, err := os.ReadFile(c.Limits)
		if err != nil {
			return nil, err
		}
		return regimen.ParseLimits(c.Limits, src)
	}
	src, err := fs.ReadFile(flows.FS, "limits.yaml")
	if err != nil {
		return nil, err
	}
	return regimen.ParseLimits("limits.yaml", src)
}

// prescription reads either kind of file and says what must be confirmed.
func (c *planCmd) prescription(s *streams, src []byte, lim *regimen.Limits, now time.Time) (*regimen.Prescription, error) {
	if b := bytes.TrimLeft(src, " \t\r\n\ufeff"); len(b) > 0 && b[0] == '{' && json.Valid(b) {
		return c.order(s, src, lim)
	}
	p, warnings, err := regimen.ParseOn(c.File, src, lim, now)
	if err != nil {
		return nil, err
	}
	refused := 0
	for _, w := range warnings {
		note := "to confirm"
		if w.Accept && !c.Accept {
			note = "needs --accept"
			refused++
		}
		fmt.Fprintf(s.err, "%s (%s)\n", w, note)
	}
	if refused > 0 {
		return nil, errors.New("not printed: say --accept once the prescriber has confirmed it")
	}
	return p, nil
}

// order reads a FHIR order. What it leaves open is said, and where it
// contradicts itself nothing is planned.
func (c *planCmd) order(s *streams, src []byte, lim *regimen.Limits) (*regimen.Prescription, error) {
	d, err := fhir.ReadOrder(c.File, src, fhir.Options{TimeZone: c.TimeZone, AcceptUnits: c.Accept, Limits: lim})
	if err != nil {
		return nil, err
	}
	for _, f := range d.Findings {
		fmt.Fprintln(s.err, f)
	}
	for _, u := range d.Unused {
		fmt.Fprintf(s.err, "%s: %s: not used\n", c.File, u)
	}
	if d.Prescription == nil {
		return nil, fmt.Errorf("%s: no plan: a person must decide what is listed above", c.File)
	}
	fmt.Fprintf(s.err, "%s: a draft: it may run only once a person has decided what is listed above\n", c.File)
	if c.From == "" && d.Starts != "" {
		c.From = string(d.Starts)
	}
	return d.Prescription, nil
}

func (c *planCmd) print(out io.Writer, plan *regimen.Plan, p *regimen.Prescription, now time.Time) error {
	messages, err := protocol.LoadMessages(flows.FS)
	if err != nil {
		return err
	}
	say := func(lang string) regimen.Phrases { return messages.Phrases(lang) }
	lang := c.Lang
	if lang == "" && len(p.Languages) > 0 {
		lang = p.Languages[0]
	}
	day := journal.Day(c.From)
	if c.From == "" {
		day = plan.FeedDay(now).Day
	}
	if _, ok := plan.DayStart(day); !ok {
		return fmt.Errorf("--from %q: want a date such as 2026-05-02", c.From)
	}
	switch {
	case c.Summary:
		r := plan.Report(day, c.Days, say)
		if c.JSON {
			return r.WriteJSON(out)
		}
		return r.WriteText(out)
	case c.JSON:
		return plan.WriteJSONLines(out, day, c.Days, say)
	case c.ICS:
		return plan.WriteICS(out, day, c.Days, say(lang))
	case c.HTML:
		return plan.WriteDoorSheet(out, day, lang, say(lang))
	}
	return plan.WriteTable(out, day, c.Days, say(lang))
}
