package protocol

import (
	"fmt"
	"io/fs"
	"sort"
	"strings"
	"unicode"
)

// markFile is marks.yaml: words in a text that raise a flag which conditions
// may speak of, for what the symptom codes do not carry (a colour, "went in hard").
type markFile struct {
	Marks map[string]struct {
		Source string              `yaml:"source"`
		Words  map[string][]string `yaml:"words"` // by language
	} `yaml:"marks"`
	// NotAfter are words that, right before, take a mark back ("not green").
	NotAfter map[string][]string `yaml:"not_after"`
}

type mark struct {
	name    string
	phrases [][]string
}

type marks struct {
	list []mark
	not  map[string]bool
}

func loadMarks(fsys fs.FS) (marks, error) {
	var file markFile
	src, err := readYAML(fsys, "marks.yaml", &file)
	if err != nil {
		return marks{}, err
	}
	f := &faults{src: src}
	m := marks{not: map[string]bool{}}
	names := make([]string, 0, len(file.Marks))
	for name := range file.Marks {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		def := file.Marks[name]
		if def.Source == "" {
			f.add("$.marks."+name+".source", "is missing, want where the words come from (or \"common words, no source\")")
		}
		one := mark{name: name}
		for lang, phrases := range def.Words {
			for _, p := range phrases {
				w := wordsOf(p)
				if len(w) == 0 {
					f.add(fmt.Sprintf("$.marks.%s.words.%s", name, lang), "has an entry without a word")
					continue
				}
				one.phrases = append(one.phrases, w)
			}
		}
		m.list = append(m.list, one)
	}
	for _, words := range file.NotAfter {
		for _, w := range words {
			m.not[strings.Join(wordsOf(w), " ")] = true
		}
	}
	return m, f.err()
}

func (m marks) names() []string {
	list := make([]string, len(m.list))
	for i, one := range m.list {
		list[i] = one.name
	}
	return list
}

// accents that people leave out when they type on a phone.
var plainLetters = strings.NewReplacer("á", "a", "é", "e", "í", "i", "ó", "o", "ú", "u", "ü", "u", "’", "", "'", "")

// wordsOf returns the words of a text in small letters without accents.
func wordsOf(text string) []string {
	return strings.FieldsFunc(plainLetters.Replace(strings.ToLower(text)), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	})
}

// find reports which marks a text bears, in the order of list. A mark right
// after a word of not_after does not count; anything less plain does, because a
// mark only ever raises.
func (m marks) find(text string) []bool {
	found := make([]bool, len(m.list))
	if text == "" {
		return found
	}
	words := wordsOf(text)
	for i, one := range m.list {
		for _, phrase := range one.phrases {
			if m.bears(words, phrase) {
				found[i] = true
				break
			}
		}
	}
	return found
}

func (m marks) bears(words, phrase []string) bool {
next:
	for at := 0; at+len(phrase) <= len(words); at++ {
		for j, w := range phrase {
			if words[at+j] != w {
				continue next
			}
		}
		if at == 0 || !m.not[words[at-1]] {
			return true
		}
	}
	return false
}
