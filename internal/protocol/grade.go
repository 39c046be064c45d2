package protocol

import (
	"strings"
	"unicode"
)

// Readability of a text: English by the Flesch-Kincaid grade level (Kincaid et
// al. 1975), Spanish by the index of Fernández Huerta (1959) in its corrected
// form (206.84 - 60 syllables/words - 1.02 words/sentences), the formula and
// its scale from memory.
const (
	// MaxGrade is the highest school grade at which an English text may read.
	MaxGrade = 6.0
	// MinSpanish is the lowest Fernández Huerta value a Spanish text may have:
	// 70 to 80 is "fairly easy", sixth grade (scale from memory).
	MinSpanish = 70.0
)

// Counts are what readability formulas are computed from.
type Counts struct{ Sentences, Words, Syllables int }

// CountEnglish counts an English text. Syllables are estimated from spelling.
func CountEnglish(text string) Counts { return count(text, englishSyllables) }

// CountSpanish counts a Spanish text.
func CountSpanish(text string) Counts { return count(text, spanishSyllables) }

// Grade is the Flesch-Kincaid grade level: 0.39 words/sentence + 11.8
// syllables/word - 15.59 (Kincaid et al. 1975). A text without a word is grade 0.
func (c Counts) Grade() float64 {
	if c.Words == 0 {
		return 0
	}
	return 0.39*float64(c.Words)/float64(c.Sentences) + 11.8*float64(c.Syllables)/float64(c.Words) - 15.59
}

// FernandezHuerta is the Spanish reading ease; higher is easier. A text
// without a word is 100.
func (c Counts) FernandezHuerta() float64 {
	if c.Words == 0 {
		return 100
	}
	return 206.84 - 60*float64(c.Syllables)/float64(c.Words) - 1.02*float64(c.Words)/float64(c.Sentences)
}

// count splits a text at full stops, question and exclamation marks, and
// colons before a new thought. Figures and clock times are read as one word
// each but left out of the count, so that a number neither helps nor hurts.
func count(text string, syllables func(string) int) Counts {
	c := Counts{}
	open := false
	for _, field := range strings.Fields(text) {
		word := strings.TrimFunc(field, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
		if strings.ContainsFunc(word, unicode.IsLetter) && !strings.ContainsFunc(word, unicode.IsDigit) {
			c.Words++
			c.Syllables += syllables(strings.ToLower(word))
			open = true
		}
		if strings.HasSuffix(strings.TrimRight(field, `"')`), ".") || strings.ContainsAny(field, "?!") {
			if open {
				c.Sentences++
			}
			open = false
		}
	}
	if open {
		c.Sentences++
	}
	return c
}

// englishSyllables estimates from spelling: vowel groups, less silent endings.
func englishSyllables(word string) int {
	if n, ok := englishIrregular[word]; ok {
		return n
	}
	letters := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			return r
		}
		return -1
	}, word)
	if letters == "" {
		return 1
	}
	if len(letters) <= 2 && !strings.ContainsAny(letters, "aeiouy") { // mL is said letter by letter
		return len(letters)
	}
	n, before := 0, false
	for i, r := range letters {
		is := strings.ContainsRune("aeiouy", r) && !(r == 'y' && i == 0)
		if is && !before {
			n++
		}
		before = is
	}
	switch {
	case strings.HasSuffix(letters, "le") && len(letters) > 2 && !strings.ContainsRune("aeiouy", rune(letters[len(letters)-3])):
	case strings.HasSuffix(letters, "ted"), strings.HasSuffix(letters, "ded"):
	case strings.HasSuffix(letters, "es") && len(letters) > 3 && strings.ContainsRune("sxzcgh", rune(letters[len(letters)-3])):
	case strings.HasSuffix(letters, "e"), strings.HasSuffix(letters, "ed"), strings.HasSuffix(letters, "es"):
		if n > 1 && !strings.HasSuffix(letters, "ee") && !strings.HasSuffix(letters, "ye") && !strings.HasSuffix(letters, "ies") && !strings.HasSuffix(letters, "ees") {
			n--
		}
	}
	return max(1, n)
}

// englishIrregular are words of our texts whose spelling misleads.
var englishIrregular = map[string]int{
	"being": 2, "diarrhea": 4, "area": 3, "idea": 3, "people": 2, "something": 2, "someone": 2,
	"somewhere": 2, "diaper": 3, "diapers": 3, "quiet": 2, "lie": 1, "science": 2, "done": 1,
	"sometimes": 2, "someday": 2, "using": 2, "fluid": 2, "create": 2, "reading": 2, "safely": 2,
	"baseline": 2, "lukewarm": 2, "doing": 2, "going": 2, "drying": 2, "trying": 2, "before": 2,
}

// spanishSyllables counts by the rules of Spanish spelling: each vowel group
// is a syllable, two strong vowels or an accented weak one part it, the u of
// gue, gui, que and qui is silent, and a final y is a vowel.
func spanishSyllables(word string) int {
	runes := []rune(word)
	const strong, accentedWeak, weak = "aeoáéó", "íú", "iuü"
	n := 0
	var last rune // the vowel before, 0 after a consonant
	for i, r := range runes {
		if r == 'y' && i == len(runes)-1 && last != 0 {
			continue // falls into the vowel before: "voy"
		}
		if r == 'y' && len(runes) == 1 {
			r = 'i'
		}
		if r == 'u' && i > 0 && (runes[i-1] == 'g' || runes[i-1] == 'q') && i+1 < len(runes) && strings.ContainsRune("eiéí", runes[i+1]) {
			continue
		}
		isStrong, isAccent, isWeak := strings.ContainsRune(strong, r), strings.ContainsRune(accentedWeak, r), strings.ContainsRune(weak, r)
		if !isStrong && !isAccent && !isWeak {
			if r != 'h' { // h is silent and does not part vowels
				last = 0
			}
			continue
		}
		joined := last != 0 && !isAccent && !strings.ContainsRune(accentedWeak, last) &&
			!(isStrong && strings.ContainsRune(strong, last))
		if !joined {
			n++
		}
		last = r
	}
	return max(1, n)
}
