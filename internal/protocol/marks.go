package protocol

import (
	"fmt"
	"io/fs"
	"slices"
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

type marks struct {
	list  []string // names, sorted
	first map[string][]markPhrase
	not   map[string]bool
}

// markPhrase is one phrase of a mark, found by its first word.
type markPhrase struct {
	mark  int
	words []string
}

func loadMarks(fsys fs.FS) (marks, error) {
	var file markFile
	src, err := readYAML(fsys, "marks.yaml", &file)
	if err != nil {
		return marks{}, err
	}
	f := &faults{src: src}
	m := marks{first: map[string][]markPhrase{}, not: map[string]bool{}}
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
		for lang, phrases := range def.Words {
			for _, p := range phrases {
				w := wordsOf(p)
				if len(w) == 0 {
					f.add(fmt.Sprintf("$.marks.%s.words.%s", name, lang), "has an entry without a word")
					continue
				}
				m.first[w[0]] = append(m.first[w[0]], markPhrase{len(m.list), w})
			}
		}
		m.list = append(m.list, name)
	}
	for _, words := range file.NotAfter {
		for _, w := range words {
			m.not[strings.Join(wordsOf(w), " ")] = true
		}
	}
	return m, f.err()
}

func (m marks) names() []string { return m.list }

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
	words := wordsOf(text)
	for at, w := range words {
		if at > 0 && m.not[words[at-1]] {
			continue
		}
		for _, p := range m.first[w] {
			if end := at + len(p.words); !found[p.mark] && end <= len(words) && slices.Equal(words[at:end], p.words) {
				found[p.mark] = true
			}
		}
	}
	return found
}
