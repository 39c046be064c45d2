package protocol

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"sort"
	"strings"

	"cel.dev/cel-go/cel"

	"hearthline/internal/journal"
)

// Set is one checked flows tree: all protocols, all wordings, the signatures.
// It is not changed after Load and may be used from many goroutines.
type Set struct {
	version   string
	messages  *Messages
	protocols []*protocol
	byName    map[string]*protocol
	byCode    map[string][]*protocol
	byTrigger map[string][]*protocol
	vocab     *vocabulary
	marks     marks
	teaching  []teaching
	advice    map[string]adviceFile
	adviceSrc source
	onlyWhen  map[string]*condition // tell to what must certainly hold for it
	withholds map[string][]string   // tell to the prompts it withholds
	// pairs of things that one family must never be told both
	contradict [][]string
	hashes     map[string]string
	signoff    signoffFile
	signSrc    source
}

// protocol is one protocol file with its conditions compiled.
type protocol struct {
	name      string
	title     string // message key of a case's title
	file      protocolFile
	src       source
	vocab     *vocabulary // the tree's facts and this protocol's answers
	rules     []rule
	questions []question
	openWhen  *condition // nil: only its codes and triggers open it
	settle    *condition // nil: no answer makes the case wait
	deadline  *condition // nil: there is none
}

type rule struct {
	ruleFile
	when *condition
}

type question struct {
	questionFile
	when *condition // nil: always asked
	fact int        // index of the fact that its answer makes known
}

// Load reads and checks a flows tree. Every error names file, line, field and
// what would be right; they come joined, and nothing is half-loaded.
func Load(fsys fs.FS) (*Set, error) {
	s := &Set{byName: map[string]*protocol{}, byCode: map[string][]*protocol{}, byTrigger: map[string][]*protocol{}}
	var errs []error
	var err error
	if s.version, s.hashes, err = hashTree(fsys); err != nil {
		return nil, err
	}
	if s.messages, err = LoadMessages(fsys); err != nil {
		errs = append(errs, err)
	}
	if s.marks, err = loadMarks(fsys); err != nil {
		errs = append(errs, err)
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err // all else is held against these
	}
	if err = s.loadAdvice(fsys); err != nil {
		errs = append(errs, err)
	}
	if err = s.loadSignoff(fsys); err != nil {
		errs = append(errs, err)
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	s.vocab = newVocabulary(s.marks.names())
	env, err := newEnv(s.vocab)
	if err != nil {
		return nil, fmt.Errorf("marks.yaml: a mark's name clashes with a fact: %w", err)
	}
	files, err := fs.Glob(fsys, "protocols/*.yaml")
	if err != nil {
		return nil, fmt.Errorf("protocols: %w", err)
	}
	for _, file := range files {
		p, err := s.loadProtocol(fsys, file, env)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		s.protocols = append(s.protocols, p)
		s.byName[p.name] = p
		for _, code := range p.file.Opens.Codes {
			s.byCode[code] = append(s.byCode[code], p)
		}
		for _, trigger := range p.file.Opens.Triggers {
			s.byTrigger[trigger] = append(s.byTrigger[trigger], p)
		}
	}
	errs = append(errs, s.loadTeaching(fsys)...)
	if len(errs) == 0 {
		errs = append(errs, s.complete()...)
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return s, nil
}

// complete finds codes, triggers and required wordings that nothing answers to.
func (s *Set) complete() (errs []error) {
	for _, code := range Codes {
		if len(s.byCode[code]) == 0 {
			errs = append(errs, fmt.Errorf("protocols: code %q opens no protocol, want it under opens.codes of one", code))
		}
	}
	for _, trigger := range Triggers {
		if len(s.byTrigger[trigger]) == 0 {
			errs = append(errs, fmt.Errorf("protocols: trigger %q opens no protocol, want it under opens.triggers of one", trigger))
		}
	}
	for _, key := range RequiredKeys {
		if !s.messages.Phrases(Fallback).Has(key) {
			errs = append(errs, fmt.Errorf("messages/%s.yaml: key %q is missing, the service says it", Fallback, key))
		}
	}
	return errs
}

// Version is a hash of all flow files: the same files have the same version.
func (s *Set) Version() string { return s.version }

// Phrases returns the wordings of a language, or of Fallback where it has none.
func (s *Set) Phrases(lang string) Phrases { return s.messages.Phrases(lang) }

// Languages lists the languages in which every wording is there.
func (s *Set) Languages() []string { return s.messages.Languages() }

// Protocols lists the names of the protocols.
func (s *Set) Protocols() []string {
	var names []string
	for _, p := range s.protocols {
		names = append(names, p.name)
	}
	return names
}

// Checklist returns the message keys of a protocol's checklist for the nurse,
// and which facts of Shown she will want beside the case; nil for a protocol
// that is not there (an older flows version may have had others).
func (s *Set) Checklist(name string) (keys, facts []string) {
	p := s.byName[name]
	if p == nil {
		return nil, nil
	}
	return slices.Clone(p.file.Checklist), slices.Clone(p.file.Facts)
}

// hashTree returns the hash of each flow file and one over all of them.
func hashTree(fsys fs.FS) (string, map[string]string, error) {
	hashes := map[string]string{}
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || path.Ext(name) != ".yaml" {
			return err
		}
		b, err := fs.ReadFile(fsys, name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(b)
		hashes[name] = hex.EncodeToString(sum[:])
		return nil
	})
	if err != nil {
		return "", nil, fmt.Errorf("flows: %w", err)
	}
	names := make([]string, 0, len(hashes))
	for name := range hashes {
		names = append(names, name)
	}
	sort.Strings(names)
	all := sha256.New()
	for _, name := range names {
		if name != signoffPath {
			fmt.Fprintf(all, "%s %s\n", name, hashes[name])
		}
	}
	return hex.EncodeToString(all.Sum(nil))[:12], hashes, nil
}

func (s *Set) loadAdvice(fsys fs.FS) error {
	var file struct {
		Advice    map[string]adviceFile `yaml:"advice"`
		OnlyWhen  map[string]string     `yaml:"only_when"`
		Withholds map[string][]string   `yaml:"withholds"`
		// pairs of things that one family must never be told both
		Contradict [][]string `yaml:"contradict"`
	}
	src, err := readYAML(fsys, "advice.yaml", &file)
	if err != nil {
		return err
	}
	s.advice, s.adviceSrc, s.withholds = file.Advice, src, file.Withholds
	f := &faults{src: src}
	for _, key := range sortedKeys(s.advice) {
		field := "$.advice.'" + key + "'"
		f.allOf(field+".tells", s.advice[key].Tells, Tells)
		if s.advice[key].Source == "" {
			f.add(field+".source", "of %s is missing, want where the advice comes from", key)
		}
		s.checkGap(f, field, key)
	}
	for _, tell := range sortedKeys(file.Withholds) {
		f.oneOf("$.withholds."+tell, tell, Tells)
		f.allOf("$.withholds."+tell, file.Withholds[tell], PromptKinds)
	}
	s.contradict = file.Contradict
	for i, pair := range s.contradict {
		field := fmt.Sprintf("$.contradict[%d]", i)
		if len(pair) != 2 {
			f.add(field, "has %d entries, want two things that a family must not be told both", len(pair))
		}
		f.allOf(field, pair, Tells)
	}
	s.onlyWhen = map[string]*condition{}
	vocab := newVocabulary(s.marks.names())
	env, err := newEnv(vocab)
	if err != nil {
		return fmt.Errorf("marks.yaml: a mark's name clashes with a fact: %w", err)
	}
	for _, tell := range sortedKeys(file.OnlyWhen) {
		f.oneOf("$.only_when."+tell, tell, Tells)
		if s.onlyWhen[tell], err = compile(env, vocab, file.OnlyWhen[tell]); err != nil {
			f.add("$.only_when."+tell, "%v", err)
		}
	}
	return f.err()
}

// checkGap checks that advice which stops the feed has another text for those
// whose feed must not stop, and that this one tells everything the first does.
func (s *Set) checkGap(f *faults, field, key string) {
	a := s.advice[key]
	if strings.HasPrefix(key, "gap.") {
		return
	}
	if a.Gap == "" {
		if a.stops() {
			f.add(field+".gap", "of %s is missing: it stops the feed, want what is said where feed must not stop for long", key)
		}
		return
	}
	other, ok := s.advice[a.Gap]
	if !ok {
		f.add(field+".gap", "of %s is %q, which is not here", key, a.Gap)
		return
	}
	for _, tell := range a.Tells {
		if !slices.Contains(other.Tells, tell) {
			f.add(field+".gap", "of %s is %q, which does not tell %s", key, a.Gap, tell)
		}
	}
	for _, lang := range s.messages.Languages() {
		if text := s.messages.text[lang][a.Gap]; !strings.Contains(text, "{plan}") {
			f.add(field+".gap", "%q has no {plan} in language %q", a.Gap, lang)
		}
	}
}

// stops reports whether the advice stops a feed, or everything by the tube.
func (a adviceFile) stops() bool {
	return slices.Contains(a.Tells, "stop_feed") || slices.Contains(a.Tells, "nothing_by_tube")
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func (s *Set) loadProtocol(fsys fs.FS, file string, env *cel.Env) (*protocol, error) {
	p := &protocol{name: strings.TrimSuffix(path.Base(file), ".yaml"), vocab: s.vocab}
	p.title = "title." + p.name
	var err error
	if p.src, err = readYAML(fsys, file, &p.file); err != nil {
		return nil, err
	}
	f := &faults{src: p.src}
	if len(p.file.Opens.Codes)+len(p.file.Opens.Triggers) == 0 {
		f.add("$.opens", "names neither codes nor triggers: nothing would ever open this protocol")
	}
	f.allOf("$.opens.codes", p.file.Opens.Codes, Codes)
	f.allOf("$.opens.triggers", p.file.Opens.Triggers, Triggers)
	if p.file.Rank <= 0 {
		f.add("$.rank", "is %d, want 1 or more: of two wanted at the same time the lower leads", p.file.Rank)
	}
	f.caseOf("$.case", p.file.Case)
	f.allOf("$.hold", p.file.Hold, PromptKinds)
	if !s.messages.Phrases(Fallback).Has(p.title) {
		f.add("$", "messages have no %q, want the case's title for staff", p.title)
	}
	s.checkAdvice(f, "$.advice", p.file.Advice)
	s.checkAdvice(f, "$.emergency_advice", p.file.EmergencyAdvice)
	if p.file.EmergencyAdvice == "" {
		f.add("$.emergency_advice", "is missing, want what the family is told where the reading says emergency")
	}
	for i, key := range p.file.Checklist {
		if !s.messages.Phrases(Fallback).Has(key) {
			f.add(fmt.Sprintf("$.checklist[%d]", i), "messages have no %q", key)
		}
	}
	f.allOf("$.facts", p.file.Facts, Shown)
	if p.file.Opens.When != "" {
		if p.openWhen, err = compile(env, s.vocab, p.file.Opens.When); err != nil {
			f.add("$.opens.when", "%v", err)
		}
	}
	env = s.loadQuestions(p, f, env)
	s.loadRules(p, f, env)
	s.loadSettle(p, f, env)
	s.loadDeadline(p, f, env)
	return p, f.err()
}

// checkAdvice finds advice that has no wording, or does not say what it tells.
func (s *Set) checkAdvice(f *faults, field, key string) {
	if key == "" {
		return
	}
	if !s.messages.Phrases(Fallback).Has(key) {
		f.add(field, "messages have no %q", key)
	}
	if _, ok := s.advice[key]; !ok {
		f.add(field, "advice.yaml has no %q, want what it tells the family to do", key)
	}
}

func (s *Set) loadRules(p *protocol, f *faults, env *cel.Env) {
	seen := map[string]bool{}
	for i, r := range p.file.Rules {
		field := fmt.Sprintf("$.rules[%d]", i)
		if r.ID == "" || seen[r.ID] {
			f.add(field+".id", "is %q, want a name of its own within the file", r.ID)
		}
		seen[r.ID] = true
		if r.Source == "" {
			f.add(field+".source", "is missing, want where the rule comes from (or \"common practice, no source\")")
		}
		if r.Case != nil {
			if r.Case.Source == "" {
				r.Case.Source = r.Source
			}
			if r.Case.GoesTo == "" {
				r.Case.GoesTo = p.file.Case.GoesTo
			}
			f.caseOf(field+".case", *r.Case)
			base := p.file.Case
			if moreUrgent(base.Answer, base.WithinMin, r.Case.Answer, r.Case.WithinMin) {
				f.add(field+".case", "is later than the protocol's own, and rules only raise")
			}
		}
		if r.Case == nil && r.Advice == "" && len(r.Hold) == 0 && r.GoesTo == "" {
			f.add(field, "changes nothing: want case, advice, hold or goes_to")
		}
		if r.GoesTo != "" {
			f.oneOf(field+".goes_to", r.GoesTo, GoesTo)
			if r.Case != nil {
				f.add(field+".goes_to", "stands beside a case, want it within the case")
			}
		}
		s.checkAdvice(f, field+".advice", r.Advice)
		f.allOf(field+".hold", r.Hold, PromptKinds)
		cond, err := compile(env, p.vocab, r.When)
		if err != nil {
			f.add(field+".when", "%v", err)
			continue
		}
		p.rules = append(p.rules, rule{r, cond})
	}
}

// PageAfter returns how long ringing waits for a case that a protocol led to
// with this answer time; 0 where the protocol is not there or does not say.
func (s *Set) PageAfter(name string, answer journal.Answer, within journal.Minutes) journal.Minutes {
	p := s.byName[name]
	if p == nil {
		return 0
	}
	if c := p.file.Case; c.Answer == answer && c.WithinMin == within {
		return c.PageAfterMin
	}
	for _, r := range p.rules {
		if c := r.Case; c != nil && c.Answer == answer && c.WithinMin == within {
			return c.PageAfterMin
		}
	}
	return 0
}
