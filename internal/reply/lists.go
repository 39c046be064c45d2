package reply

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
)

// Lists are the compiled word lists of every language under words/ of a flows
// tree. They are immutable and safe for concurrent use.
type Lists struct {
	words    map[string]int32
	names    []string
	info     []wordInfo
	prefixes map[string]int32 // "vomit" of vomit*
	longest  int              // of a prefix
	emoji    map[rune]int32
	first    [][]*pattern // by the word a pattern begins with
	numbered []*pattern   // patterns that begin with a number
	patterns []*pattern
	merges   map[int32][]merge
	repair   repairs
	langs    []string
	limits   Limits
	endings  []ending
	plain    int32 // stands for any form of an everyday word
}

// ending is one inflection: a word on cut may be an everyday word on put.
type ending struct{ cut, put string }

// wordInfo is what the lists say of one word.
type wordInfo struct {
	alias    int32 // the word that this one is short for, or itself
	roles    uint64
	num      float64 // value of a number word, -1 for "half" and its like
	den      float64 // of a fraction word
	unit     unit
	langs    uint8 // bit per language
	everyday bool
	clinical bool // stands in a symptom or emergency phrase
	danger   bool // stands in an emergency phrase
}

// merge is a phrase that reads as one word ("g tube").
type merge struct {
	rest []int32
	id   int32
}

// Load reads and compiles words/*.yaml of fsys, with words/<language>-everyday.txt. It holds the whole tree or
// nothing; its errors name file, line and key, and what would be right.
func Load(fsys fs.FS) (*Lists, error) {
	files, err := fs.Glob(fsys, "words/*.yaml")
	if err != nil {
		return nil, fmt.Errorf("word lists: %w", err)
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("word lists: no words/*.yaml: want one file a language, for example words/en.yaml")
	}
	c := newCompiler()
	for _, name := range files {
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, fmt.Errorf("word lists: %w", err)
		}
		if path.Base(name) == "limits.yaml" {
			if err := c.readLimits(name, data); err != nil {
				return nil, err
			}
			continue
		}
		if err := c.readLanguage(name, data); err != nil {
			return nil, err
		}
	}
	if err := c.readEveryday(fsys); err != nil {
		return nil, err
	}
	return c.finish()
}

// readEveryday adds words/<language>-everyday.txt where a language has one:
// plain words with spaces between, and comments on lines that begin with "#".
func (c *compiler) readEveryday(fsys fs.FS) error {
	for i, lang := range c.l.langs {
		data, err := fs.ReadFile(fsys, "words/"+lang+"-everyday.txt")
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return fmt.Errorf("word lists: %w", err)
		}
		rest := string(data)
		for strings.HasPrefix(rest, "#") {
			_, rest, _ = strings.Cut(rest, "\n")
		}
		c.every = append(c.every, everydayWords{text: fold(rest), lang: 1 << i})
	}
	return nil
}

// Languages are the languages of the lists, in order of file name.
func (l *Lists) Languages() []string { return slices.Clone(l.langs) }

// dropped tells whether an apostrophe ending is dropped and adds nothing.
func (l *Lists) dropped(ending string) bool {
	id, ok := l.words[ending]
	return ok && l.info[id].alias < 0
}

// compiler gathers words and drafts of all files before they are numbered.
type compiler struct {
	l       *Lists
	classes map[string][]string
	drafts  []draft
	listed  []string // words of patterns and classes, in order: they get the low numbers
	seen    map[string]bool
	byLang  map[string]uint8
	lang    uint8
	short   [][2]string
	nums    []numberWord
	units   map[string]unit
	every   []everydayWords
	emojis  []emojiWord
	pending map[string]string // class used -> where, to report unknown ones
	limits  bool
	apart   map[[2]string]bool
	under   map[string][]int32 // prefix -> ids of the listed words that it covers
}

type numberWord struct {
	word     string
	val, den float64
}

type everydayWords struct {
	text string
	lang uint8
}

type emojiWord struct {
	r    rune
	word string
}

func newCompiler() *compiler {
	return &compiler{
		l: &Lists{
			words: make(map[string]int32, 1<<16), names: make([]string, 0, 1<<16), info: make([]wordInfo, 0, 1<<16), prefixes: map[string]int32{}, emoji: map[rune]int32{},
			merges: map[int32][]merge{}, limits: defaultLimits,
		},
		classes: map[string][]string{}, seen: map[string]bool{}, byLang: map[string]uint8{},
		units: map[string]unit{}, pending: map[string]string{}, apart: map[[2]string]bool{},
	}
}

// add notes a listed word (or phrase) of the language being read.
func (c *compiler) add(w string) {
	c.byLang[w] |= c.lang
	if !c.seen[w] {
		c.seen[w] = true
		c.listed = append(c.listed, w)
	}
	if strings.Contains(w, " ") {
		for _, p := range strings.Fields(w) {
			c.add(p)
		}
	}
}

// finish numbers the words and compiles the patterns.
func (c *compiler) finish() (*Lists, error) {
	l := c.l
	if !c.limits {
		return nil, fmt.Errorf("word lists: words/limits.yaml is missing: it holds the limits with their sources")
	}
	for class, where := range c.pending {
		if _, ok := c.classes[class]; !ok {
			return nil, fmt.Errorf("%s: class @%s is in no file: list it under classes", where, class)
		}
	}
	for _, w := range c.listed {
		if strings.HasSuffix(w, "*") {
			id := c.number(w)
			p := strings.TrimSuffix(w, "*")
			l.prefixes[p] = id
			l.longest = max(l.longest, len(p))
			continue
		}
		c.number(w)
	}
	listed := len(l.names)
	c.expandPrefixes()
	c.setRoles()
	if err := c.compile(listed); err != nil {
		return nil, err
	}
	c.addEveryday()
	l.plain = c.number("~plain")
	l.info[l.plain].everyday = true
	if err := c.setWords(); err != nil {
		return nil, err
	}
	c.setMerges()
	l.repair = newRepairs(l, c.apart)
	return l, nil
}

func (c *compiler) number(w string) int32 {
	if id, ok := c.l.words[w]; ok {
		return id
	}
	id := int32(len(c.l.names))
	c.l.words[w] = id
	c.l.names = append(c.l.names, w)
	c.l.info = append(c.l.info, wordInfo{alias: id, langs: c.byLang[w]})
	return id
}

// addEveryday adds the plain words; one that a listed prefix covers is left
// out, so that "vomiting" can never be plain.
func (c *compiler) addEveryday() {
	for _, e := range c.every {
		c.lang = e.lang
		for w := range strings.FieldsSeq(e.text) {
			id, ok := c.l.words[w]
			if !ok {
				if c.l.prefixOf([]byte(w)) >= 0 {
					continue
				}
				id = c.number(w)
			}
			c.l.info[id].everyday = true
			c.l.info[id].langs |= e.lang
		}
	}
}

func (c *compiler) setMerges() {
	for _, w := range c.listed {
		parts := strings.Fields(w)
		if len(parts) < 2 {
			continue
		}
		m := merge{id: c.l.words[w]}
		for _, p := range parts[1:] {
			m.rest = append(m.rest, c.l.words[p])
		}
		at := c.l.words[parts[0]]
		c.l.merges[at] = append(c.l.merges[at], m)
	}
	for at := range c.l.merges {
		slices.SortStableFunc(c.l.merges[at], func(a, b merge) int { return len(b.rest) - len(a.rest) })
	}
}

// prefixOf is the word of the longest listed prefix of w, or -1.
func (l *Lists) prefixOf(w []byte) int32 {
	for n := min(len(w), l.longest); n >= 3; n-- {
		if id, ok := l.prefixes[string(w[:n])]; ok {
			return id
		}
	}
	return -1
}
