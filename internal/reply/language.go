package reply

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// section is one key of a language file with the line that its text starts on.
type section struct {
	file, key string
	line      int
	text      string
	under     []section
}

func (s *section) errorf(line int, format string, args ...any) error {
	return fmt.Errorf("%s:%d: %s: %s", s.file, line, s.key, fmt.Sprintf(format, args...))
}

// sections parses a file into nested sections.
func sections(file string, data []byte) ([]section, error) {
	f, err := parser.ParseBytes(data, 0)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if len(f.Docs) != 1 || f.Docs[0].Body == nil {
		return nil, fmt.Errorf("%s:1: want one YAML document with keys", file)
	}
	return walk(file, "", f.Docs[0].Body)
}

func walk(file, above string, n ast.Node) ([]section, error) {
	var values []*ast.MappingValueNode
	switch n := n.(type) {
	case *ast.MappingNode:
		values = n.Values
	case *ast.MappingValueNode:
		values = []*ast.MappingValueNode{n}
	default:
		return nil, fmt.Errorf("%s:%d: %s: want keys with values", file, n.GetToken().Position.Line, strings.TrimSuffix(above, "."))
	}
	seen := map[string]bool{}
	var out []section
	for _, v := range values {
		name := v.Key.String()
		if len(name) >= 2 && (name[0] == '"' || name[0] == '\'') {
			name = name[1 : len(name)-1]
		}
		s := section{file: file, key: above + name, line: v.Key.GetToken().Position.Line}
		if seen[name] {
			return nil, s.errorf(s.line, "stands twice: join the two")
		}
		seen[name] = true
		switch val := v.Value.(type) {
		case *ast.MappingNode, *ast.MappingValueNode:
			under, err := walk(file, s.key+".", val)
			if err != nil {
				return nil, err
			}
			s.under = under
		case *ast.LiteralNode:
			s.text = val.Value.Value
			s.line++ // the block starts on the next line
		case *ast.StringNode:
			s.text = val.Value
		case *ast.NullNode:
		case ast.ScalarNode:
			s.text = val.GetToken().Value
		default:
			return nil, s.errorf(s.line, "want text or keys, not a %s", v.Value.Type())
		}
		out = append(out, s)
	}
	return out, nil
}

// readLanguage adds one language file.
func (c *compiler) readLanguage(file string, data []byte) error {
	all, err := sections(file, data)
	if err != nil {
		return err
	}
	if len(all) == 0 || all[0].key != "language" || all[0].text == "" {
		return fmt.Errorf("%s:1: language: must be the first key, for example \"language: en\"", file)
	}
	if len(c.l.langs) == 8 {
		return fmt.Errorf("%s:1: language: more than eight languages", file)
	}
	for i, have := range c.l.langs {
		if have == all[0].text {
			c.lang = 1 << i
			goto read
		}
	}
	c.lang = 1 << len(c.l.langs)
	c.l.langs = append(c.l.langs, all[0].text)
read:
	for i := range all[1:] {
		if err := c.readSection(&all[i+1]); err != nil {
			return err
		}
	}
	return nil
}

// patternSections are the keys whose children are lists of patterns.
var patternSections = map[string]what{
	"symptoms": whatSymptom, "emergency": whatEmergency, "unless_alert": whatUnlessAlert, "denied": whatDenied,
	"benign": whatBenign, "cues": whatCue, "answers": whatAnswer, "intents": whatIntent,
}

func (c *compiler) readSection(s *section) error {
	if w, ok := patternSections[s.key]; ok {
		for i := range s.under {
			if err := c.readPatterns(&s.under[i], w); err != nil {
				return err
			}
		}
		return nil
	}
	switch s.key {
	case "about":
		return nil
	case "classes":
		return each(s, c.readClass)
	case "units":
		return each(s, c.readUnit)
	case "short":
		return pairs(s, func(line int, from, to string) error {
			c.add(fold(from))
			c.short = append(c.short, [2]string{fold(from), fold(to)})
			return nil
		})
	case "numbers":
		return pairs(s, c.readNumber(s))
	case "endings":
		return pairs(s, func(line int, from, to string) error {
			c.l.endings = append(c.l.endings, ending{cut: fold(from), put: strings.ReplaceAll(fold(to), "~", "")})
			return nil
		})
	case "apart":
		return pairs(s, func(line int, from, to string) error {
			c.apart[[2]string{fold(from), fold(to)}] = true
			return nil
		})
	case "emoji":
		return pairs(s, func(line int, from, to string) error {
			for _, r := range from {
				c.emojis = append(c.emojis, emojiWord{r: r, word: fold(to)})
				break
			}
			return nil
		})
	case "everyday":
		return each(s, func(s *section) error {
			c.every = append(c.every, everydayWords{text: fold(s.text), lang: c.lang})
			return nil
		})
	}
	return s.errorf(s.line, "unknown key: want language, about, classes, units, numbers, short, endings, apart, emoji, everyday, symptoms, emergency, unless_alert, denied, benign, cues, answers or intents")
}

func each(s *section, do func(*section) error) error {
	if len(s.under) == 0 && s.text != "" {
		return do(s)
	}
	for i := range s.under {
		if err := do(&s.under[i]); err != nil {
			return err
		}
	}
	return nil
}

// lines calls do for each line of a block that is not blank or a comment.
func (s *section) lines(do func(line int, text string) error) error {
	for i, t := range strings.Split(s.text, "\n") {
		t = strings.TrimSpace(t)
		if at := strings.Index(t, "//"); at >= 0 {
			t = strings.TrimSpace(t[:at])
		}
		if t == "" {
			continue
		}
		if err := do(s.line+i, t); err != nil {
			return err
		}
	}
	return nil
}

// pairs reads "from=to" entries separated by spaces.
func pairs(s *section, do func(line int, from, to string) error) error {
	return s.lines(func(line int, text string) error {
		for _, f := range strings.Fields(text) {
			from, to, ok := strings.Cut(f, "=")
			if !ok || from == "" || to == "" {
				return s.errorf(line, "%q: want from=to", f)
			}
			if err := do(line, from, to); err != nil {
				return err
			}
		}
		return nil
	})
}

// readClass reads words and phrases separated by commas.
func (c *compiler) readClass(s *section) error {
	name := s.key[strings.LastIndexByte(s.key, '.')+1:]
	return s.lines(func(line int, text string) error {
		for _, w := range strings.Split(text, ",") {
			w = fold(strings.Join(strings.Fields(w), " "))
			if w == "" {
				continue
			}
			if w[0] == '@' {
				c.pending[w[1:]] = fmt.Sprintf("%s:%d: %s", s.file, line, s.key)
			} else {
				c.add(w)
			}
			c.classes[name] = append(c.classes[name], w)
		}
		return nil
	})
}

func (c *compiler) readUnit(s *section) error {
	u, ok := unitNames[s.key[strings.LastIndexByte(s.key, '.')+1:]]
	if !ok {
		return s.errorf(s.line, "no such unit")
	}
	return s.lines(func(line int, text string) error {
		for _, w := range strings.Split(text, ",") {
			if w = fold(strings.Join(strings.Fields(w), " ")); w != "" {
				c.add(w)
				c.units[w] = u
			}
		}
		return nil
	})
}

func (c *compiler) readNumber(s *section) func(int, string, string) error {
	return func(line int, from, to string) error {
		top, bottom, isFraction := strings.Cut(to, "/")
		v, err := strconv.ParseFloat(top, 64)
		if err != nil {
			return s.errorf(line, "%s=%s: want a number or a fraction like 1/2", from, to)
		}
		n := numberWord{word: fold(strings.ReplaceAll(from, "_", " ")), val: v}
		if isFraction {
			if n.den, err = strconv.ParseFloat(bottom, 64); err != nil || n.den <= 0 {
				return s.errorf(line, "%s=%s: want a number or a fraction like 1/2", from, to)
			}
		}
		c.add(n.word)
		c.nums = append(c.nums, n)
		return nil
	}
}

// readPatterns reads one pattern a line.
func (c *compiler) readPatterns(s *section, w what) error {
	label := s.key[strings.LastIndexByte(s.key, '.')+1:]
	codes := strings.Split(label, "+")
	if w <= whatDenied {
		for _, code := range codes {
			if !known(code) {
				return s.errorf(s.line, "no symptom code %q", code)
			}
		}
	}
	return s.lines(func(line int, text string) error {
		return c.readAlternatives(s, line, text, w, label, codes)
	})
}

// readAlternatives reads a line of patterns separated by " | ".
func (c *compiler) readAlternatives(s *section, line int, all string, w what, label string, codes []string) error {
	for _, text := range spread(strings.Split(all, " | ")) {
		text = foldPattern(text)
		parts, err := parsePattern(text)
		if err != nil {
			return s.errorf(line, "%v", err)
		}
		for _, p := range parts {
			for _, n := range p.names {
				if n[0] == '@' {
					c.pending[n[1:]] = fmt.Sprintf("%s:%d: %s", s.file, line, s.key)
				} else {
					c.add(n)
				}
			}
		}
		c.drafts = append(c.drafts, draft{
			pattern: pattern{what: w, label: label, codes: codes, lang: c.lang, text: text},
			parts:   parts, where: fmt.Sprintf("%s:%d: %s", s.file, line, s.key),
		})
	}
	return nil
}

// foldPattern folds words but leaves the N of a number element.
func foldPattern(text string) string {
	fields := strings.Fields(text)
	for i, f := range fields {
		if f != "N" {
			fields[i] = fold(f)
		}
	}
	return strings.Join(fields, " ")
}

// spread writes an alternative of several words ("in_pain" among others), or of
// any number (N), as a pattern of its own.
func spread(texts []string) []string {
	for i := 0; i < len(texts) && len(texts) < 64; {
		fields := strings.Fields(texts[i])
		at := -1
		for k, f := range fields {
			if severalWords(f) {
				at = k
				break
			}
		}
		if at < 0 {
			i++
			continue
		}
		var one []string
		var more []string
		for alt := range strings.SplitSeq(fields[at], "|") {
			if alt == "" {
				continue
			}
			if alt == "N" || alt[0] != '@' && strings.Contains(alt, "_") {
				more = append(more, strings.ReplaceAll(alt, "_", " "))
			} else {
				one = append(one, alt)
			}
		}
		if len(one) > 0 {
			more = append(more, strings.Join(one, "|"))
		}
		var with []string
		for _, m := range more {
			f := append([]string{}, fields...)
			f[at] = m
			with = append(with, strings.Join(f, " "))
		}
		texts = append(append(append([]string{}, texts[:i]...), with...), texts[i+1:]...)
	}
	return texts
}

// severalWords tells whether an element has an alternative of several words.
func severalWords(field string) bool {
	for alt := range strings.SplitSeq(field, "|") {
		if alt == "N" && alt != field || alt != "" && alt[0] != '@' && strings.Contains(alt, "_") {
			return true
		}
	}
	return false
}
