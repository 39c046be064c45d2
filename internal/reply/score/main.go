// Command score reads labelled texts (JSON Lines in the shape of the reply
// contract) with the shipped word lists and prints how well they are read: per
// class and code, with 95 % Wilson intervals, and the list of misses.
//
//	go run ./internal/reply/score FILE.jsonl...
package main

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"

	"hearthline/flows"
	"hearthline/internal/reply"
)

// labelled is one text with what two readers said of it.
type labelled struct {
	reply.Text
	GivenML  *int64   `json:"given_ml"`
	FlushML  *int64   `json:"flush_ml"`
	Done     *bool    `json:"done"`
	Present  []string `json:"present"`
	Absent   []string `json:"absent"`
	Intent   []string `json:"intent"`
	Handling string   `json:"handling"`
	About    string   `json:"about"` // a head line says what the file is
}

func main() {
	quiet := flag.Bool("quiet", false, "print figures only, no misses")
	flag.Parse()
	if err := run(flag.Args(), *quiet, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(files []string, quiet bool, out io.Writer) error {
	if len(files) == 0 {
		return fmt.Errorf("score: want at least one file of labelled texts")
	}
	lists, err := reply.Load(flows.FS)
	if err != nil {
		return err
	}
	for _, f := range files {
		cases, err := read(f)
		if err != nil {
			return err
		}
		s := score(lists, cases)
		fmt.Fprintf(out, "%s: %d texts\n", f, len(cases))
		s.print(out)
		if !quiet {
			for _, m := range s.misses {
				fmt.Fprintln(out, m)
			}
		}
	}
	return nil
}

func read(file string) ([]labelled, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var out []labelled
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 1<<20)
	for n := 1; sc.Scan(); n++ {
		if strings.TrimSpace(sc.Text()) == "" {
			continue
		}
		var l labelled
		if err := json.Unmarshal(sc.Bytes(), &l); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", file, n, err)
		}
		if l.About == "" {
			out = append(out, l)
		}
	}
	return out, sc.Err()
}

// share is k of n.
type share struct{ k, n int }

func (s *share) add(ok bool) {
	s.n++
	if ok {
		s.k++
	}
}

func (s share) String() string {
	if s.n == 0 {
		return "none"
	}
	lo, hi := wilson(s.k, s.n)
	return fmt.Sprintf("%d of %d = %.1f %% (%.1f to %.1f)", s.k, s.n, 100*float64(s.k)/float64(s.n), 100*lo, 100*hi)
}

// wilson is the 95 % score interval of a share (Wilson 1927).
func wilson(k, n int) (lo, hi float64) {
	const z = 1.959963985
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m)) / (1 + z*z/m)
	return max(0, mid-half), min(1, mid+half)
}

// counts is true and false positives and false negatives.
type counts struct{ tp, fp, fn int }

func (c counts) String() string {
	p, r := 1.0, 1.0
	if c.tp+c.fp > 0 {
		p = float64(c.tp) / float64(c.tp+c.fp)
	}
	if c.tp+c.fn > 0 {
		r = float64(c.tp) / float64(c.tp+c.fn)
	}
	f := 0.0
	if p+r > 0 {
		f = 2 * p * r / (p + r)
	}
	return fmt.Sprintf("precision %.3f recall %.3f F1 %.3f (tp %d fp %d fn %d)", p, r, f, c.tp, c.fp, c.fn)
}

func (c *counts) compare(got, want []string) (ok bool) {
	ok = true
	for _, g := range got {
		if slices.Contains(want, g) {
			c.tp++
		} else {
			c.fp++
			ok = false
		}
	}
	for _, w := range want {
		if !slices.Contains(got, w) {
			c.fn++
			ok = false
		}
	}
	return ok
}

type sums struct {
	emergency, nurse, auto, falseEmergency share
	given, flush, done                     share
	present, absent, intent                counts
	optOut                                 counts
	byCode                                 map[string]*counts
	misses                                 []string
}

func score(lists *reply.Lists, cases []labelled) *sums {
	s := &sums{byCode: map[string]*counts{}}
	for _, c := range cases {
		g := lists.Read(c.Text)
		var bad []string
		note := func(ok bool, what string, got, want any) {
			if !ok {
				bad = append(bad, fmt.Sprintf("%s %v want %v", what, got, want))
			}
		}
		switch c.Handling {
		case reply.Emergency:
			s.emergency.add(g.Handling == reply.Emergency)
		case reply.Nurse:
			s.falseEmergency.add(g.Handling == reply.Emergency)
		case reply.Auto:
			s.auto.add(g.Handling == reply.Auto)
			s.falseEmergency.add(g.Handling == reply.Emergency)
		}
		if c.Handling == reply.Nurse || c.Handling == reply.Emergency {
			s.nurse.add(g.Handling != reply.Auto)
		}
		note(c.Handling == "either" || g.Handling == c.Handling, "handling", g.Handling, c.Handling)
		s.given.add(same(g.GivenML, c.GivenML))
		s.flush.add(same(g.FlushML, c.FlushML))
		note(same(g.GivenML, c.GivenML), "given", show(g.GivenML), show(c.GivenML))
		note(same(g.FlushML, c.FlushML), "flush", show(g.FlushML), show(c.FlushML))
		doneOK := (g.Done == nil) == (c.Done == nil) && (g.Done == nil || *g.Done == *c.Done)
		s.done.add(doneOK)
		note(doneOK, "done", showBool(g.Done), showBool(c.Done))
		note(s.present.compare(g.Present, c.Present), "present", g.Present, c.Present)
		note(s.absent.compare(g.Absent, c.Absent), "absent", g.Absent, c.Absent)
		note(s.intent.compare(g.Intent, c.Intent), "intent", g.Intent, c.Intent)
		s.optOut.compare(only(g.Intent, "opt_out"), only(c.Intent, "opt_out"))
		for _, code := range reply.Codes {
			if s.byCode[code] == nil {
				s.byCode[code] = &counts{}
			}
			s.byCode[code].compare(only(g.Present, code), only(c.Present, code))
		}
		if len(bad) > 0 {
			s.misses = append(s.misses, fmt.Sprintf("  %s %q\n      %s | why %s | unread %q", c.ID, c.Text.Text, strings.Join(bad, "; "), g.Why, g.Unread))
		}
	}
	return s
}

func only(list []string, code string) []string {
	if slices.Contains(list, code) {
		return []string{code}
	}
	return nil
}

func same(a, b *int64) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }

func show(p *int64) string {
	if p == nil {
		return "null"
	}
	return fmt.Sprint(*p)
}

func showBool(p *bool) string {
	if p == nil {
		return "null"
	}
	return fmt.Sprint(*p)
}

func (s *sums) print(out io.Writer) {
	fmt.Fprintln(out, "  emergency recall    ", s.emergency)
	fmt.Fprintln(out, "  nurse recall        ", s.nurse)
	fmt.Fprintln(out, "  auto share of auto  ", s.auto)
	fmt.Fprintln(out, "  false emergencies   ", s.falseEmergency)
	fmt.Fprintln(out, "  exact given         ", s.given)
	fmt.Fprintln(out, "  exact flush         ", s.flush)
	fmt.Fprintln(out, "  done                ", s.done)
	fmt.Fprintln(out, "  present             ", s.present)
	fmt.Fprintln(out, "  absent              ", s.absent)
	fmt.Fprintln(out, "  intent              ", s.intent)
	fmt.Fprintln(out, "  opt-out             ", s.optOut)
	for _, code := range reply.Codes {
		if c := s.byCode[code]; c.tp+c.fp+c.fn > 0 {
			fmt.Fprintf(out, "    %-18s %s\n", code, c)
		}
	}
}
