package protocol

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
)

//go:embed book.html.tmpl
var bookTemplate string

var bookPage = template.Must(template.New("book").Parse(bookTemplate))

// page is what one printed page of the protocol book shows.
type page struct {
	Name, Title, Version, Hash string
	Codes, Triggers            string
	Case, CaseSource           string
	Advice, Emergency          []wording
	Hold                       string
	Rules                      []pageRule
	Questions                  []pageQuestion
	Settle, SettleSource       string
	Deadline, DeadlineSource   string
	Checklist                  []string
	Facts                      string
	Sources                    []string
	Cells, Paths               int
	Drawing                    template.HTML
	Signature                  Signature
	Signed                     bool
}

type wording struct{ Lang, Text string }

type pageRule struct {
	When, Then, Hold, Why, Source string
	Advice                        []wording
}

type pageQuestion struct {
	Kind, When, Sets string
	Ask              []wording
}

// WriteIndex writes the first page of the protocol book: all protocols, by rank.
func (s *Set) WriteIndex(w io.Writer) error {
	var list []page
	for _, p := range s.protocols {
		list = append(list, page{Name: p.name, Title: s.Phrases(Fallback).Say("title."+p.name, nil),
			Case: p.file.Case.inWords(), Codes: strings.Join(p.file.Opens.Codes, ", "), Triggers: strings.Join(p.file.Opens.Triggers, ", ")})
	}
	err := bookPage.ExecuteTemplate(w, "index", struct {
		Version string
		Pages   []page
	}{s.version, list})
	if err != nil {
		return fmt.Errorf("protocol book, first page: %w", err)
	}
	return nil
}

// WritePage writes one protocol as a printable page, with its decision drawn
// and a block for the signature of the clinician who answers for it.
func (s *Set) WritePage(w io.Writer, name string) error {
	p := s.byName[name]
	if p == nil {
		return fmt.Errorf("protocol book: no protocol %q, want one of %s", name, strings.Join(s.Protocols(), ", "))
	}
	if err := bookPage.ExecuteTemplate(w, "page", s.page(p)); err != nil {
		return fmt.Errorf("protocol book, %s: %w", name, err)
	}
	return nil
}

func (s *Set) page(p *protocol) page {
	file := "protocols/" + p.name + ".yaml"
	cells, paths, _ := s.prove(p)
	g := page{
		Name: p.name, Title: s.Phrases(Fallback).Say("title."+p.name, nil), Version: s.version, Hash: s.hashes[file],
		Codes: strings.Join(p.file.Opens.Codes, ", "), Triggers: strings.Join(p.file.Opens.Triggers, ", "),
		Case: p.file.Case.inWords(), CaseSource: p.file.Case.Source,
		Advice: s.wordings(p.file.Advice), Emergency: s.wordings(p.file.EmergencyAdvice),
		Hold: strings.Join(p.file.Hold, ", "), Facts: strings.Join(p.file.Facts, ", "), Sources: p.file.Sources,
		Cells: cells, Paths: paths, Signature: s.signoff.Files[file],
	}
	g.Signed = g.Signature.SHA256 != "" && g.Signature.SHA256 == g.Hash
	for _, r := range p.rules {
		one := pageRule{When: r.when.root.inWords(p.vocab), Hold: strings.Join(r.Hold, ", "), Why: r.Why, Source: r.Source, Advice: s.wordings(r.Advice)}
		if r.Case != nil {
			one.Then = r.Case.inWords()
		} else if r.GoesTo != "" {
			one.Then = "goes to the " + r.GoesTo
		}
		g.Rules = append(g.Rules, one)
	}
	for _, q := range p.questions {
		one := pageQuestion{Kind: strings.ReplaceAll(q.Answer, "_", " or "), Sets: q.Sets, Ask: s.wordings(q.Ask)}
		if q.when != nil {
			one.When = q.when.root.inWords(p.vocab)
		}
		if q.On == "no" {
			one.Sets += " (when the answer is no)"
		}
		g.Questions = append(g.Questions, one)
	}
	if p.settle != nil {
		g.Settle = p.settle.root.inWords(p.vocab) + ": " + p.file.Settle.Case.inWords()
		g.SettleSource = p.file.Settle.Case.Source
	}
	if p.deadline != nil {
		g.Deadline = fmt.Sprintf("%d minutes from when it began, less the way there, where %s", p.file.Deadline.Minutes, p.deadline.root.inWords(p.vocab))
		g.DeadlineSource = p.file.Deadline.Source
	}
	for _, key := range p.file.Checklist {
		g.Checklist = append(g.Checklist, s.Phrases(Fallback).Say(key, nil))
	}
	g.Drawing = template.HTML(s.draw(p)) // draw escapes every text it takes in
	return g
}

func (s *Set) wordings(key string) []wording {
	if key == "" {
		return nil
	}
	var list []wording
	for _, lang := range s.Languages() {
		list = append(list, wording{lang, s.messages.text[lang][key]})
	}
	return list
}
