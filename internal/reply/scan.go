package reply

import (
	"unicode"
	"unicode/utf8"
)

// kind tells what a token is.
type kind uint8

const (
	word   kind = iota
	number      // digits, with its value
	stop        // ends a sentence: . ! ? and a new line
	comma       // a breath: , ; : ( ) and dashes between words
	mark        // one sign that means something by itself: / % + = ° " * > and the like
)

// token is one piece of a text. Its folded letters are arena[a:b] of the run.
type token struct {
	start, end int // bytes of the text
	a, b       int
	id         int32 // word id, or -1
	kind       kind
	sym        byte // what sign a stop, comma or mark is
	cap        bool // upper case first, lower case after
	joined     bool // follows the token before it with no space
	repaired   bool // read as the listed word it was a slip of
	form       uint8
	val, den   float64 // number: value; for a clock hours and minutes; for a fraction n and d
}

// forms of a number token.
const (
	plain    uint8 = iota
	clock          // 7:00: val hours, den minutes
	fraction       // 1/2: val over den
	decimal        // 38.5, with the point or comma written
	long           // seven digits and more, or with dashes: no quantity
)

// most bounds what is read of one text, in tokens; longer texts leave their
// tail unread, which sends them to a person.
const most = 4000

// scan cuts the text into tokens. Invalid UTF-8 separates and is otherwise ignored.
func (r *run) scan(text string) {
	i := 0
	for i < len(text) && len(r.toks) < most {
		c, w := utf8.DecodeRuneInString(text[i:])
		switch {
		case c == utf8.RuneError && w <= 1:
			i++
		case c == '\n' || c == '\r':
			r.sign(i, i+w, stop, '\n')
			i += w
		case unicode.IsSpace(c):
			i += w
		case c >= '0' && c <= '9':
			i = r.scanNumber(text, i)
		case unicode.IsLetter(c):
			i = r.scanWord(text, i)
		default:
			i = r.scanSign(text, i, c, w)
		}
	}
	r.cut = i
}

func (r *run) sign(start, end int, k kind, sym byte) {
	r.toks = append(r.toks, token{start: start, end: end, kind: k, sym: sym, id: -1, joined: r.abuts(start)})
}

func (r *run) abuts(start int) bool {
	n := len(r.toks)
	return n > 0 && r.toks[n-1].end == start
}

// scanSign reads one character that is neither letter, digit nor space.
func (r *run) scanSign(text string, i int, c rune, w int) int {
	switch c {
	case '.', '…':
		j := i + w
		for j < len(text) && text[j] == '.' {
			j++
		}
		if j-i > 1 {
			r.sign(i, j, comma, '.')
		} else {
			r.sign(i, j, stop, '.')
		}
		return j
	case '!', '¡':
		r.sign(i, i+w, stop, '!')
	case '?', '¿':
		r.sign(i, i+w, stop, '?')
	case ',', ';', ':', '(', ')', '[', ']', '–', '—', '|', '•':
		r.sign(i, i+w, comma, ',')
	case '-', '−', '‐', '‑', '_':
		r.scanDash(text, i, w)
	case '"', '“', '”', '«', '»', '„':
		r.sign(i, i+w, mark, '"')
	case '/', '%', '+', '=', '*', '>', '<', '^', '~', '#', '@':
		r.sign(i, i+w, mark, byte(c))
	case '&':
		r.wordSign(i, i+w, "&")
	case '°', 'º', '˚':
		r.sign(i, i+w, mark, 'o')
	case '×':
		r.sign(i, i+w, mark, 'x')
	case '→', '➡':
		r.sign(i, i+w, mark, '>')
	case '↑', '↓':
		r.sign(i, i+w, mark, '^')
	case '½', '¼', '¾', '⅓', '⅔', '⅛':
		n, d := vulgar(c)
		r.toks = append(r.toks, token{start: i, end: i + w, kind: number, form: fraction, val: n, den: d, id: -1, joined: r.abuts(i)})
	case '\'', '’', '‘', '`', '´', '\u200d', '\ufe0f':
	default:
		if id, ok := r.l.emoji[c]; ok {
			r.toks = append(r.toks, token{start: i, end: i + w, kind: word, id: id, joined: r.abuts(i)})
		}
	}
	return i + w
}

// scanDash reads a dash: between letters it is nothing ("g-tube"), between
// digits or before ">" it is a mark, between spaces it is a breath.
func (r *run) scanDash(text string, i, w int) {
	before, _ := utf8.DecodeLastRuneInString(text[:i])
	after, _ := utf8.DecodeRuneInString(text[i+w:])
	switch {
	case i > 0 && unicode.IsLetter(before) && unicode.IsLetter(after):
	case unicode.IsDigit(before) || unicode.IsDigit(after) || after == '>':
		r.sign(i, i+w, mark, '-')
	default:
		r.sign(i, i+w, comma, '-')
	}
}

func (r *run) wordSign(start, end int, w string) {
	a := len(r.arena)
	r.arena = append(r.arena, w...)
	r.toks = append(r.toks, token{start: start, end: end, a: a, b: len(r.arena), kind: word, id: -1, joined: r.abuts(start)})
}

func vulgar(c rune) (n, d float64) {
	switch c {
	case '½':
		return 1, 2
	case '¼':
		return 1, 4
	case '¾':
		return 3, 4
	case '⅓':
		return 1, 3
	case '⅔':
		return 2, 3
	}
	return 1, 8
}

func apostrophe(c rune) bool { return c == '\'' || c == '’' || c == '‘' || c == '`' || c == '´' }

// scanWord reads letters, with apostrophes inside: a listed ending ("'ll") is
// a word of its own, any other is joined ("don't" is dont). Initials with dots
// are one word ("p.m."), and letters with digits only where listed ("spo2").
func (r *run) scanWord(text string, i int) int {
	a, start := len(r.arena), i
	joined := r.abuts(start)
	letters, uppers := 0, 0
	firstUpper := false
	for i < len(text) {
		c, w := utf8.DecodeRuneInString(text[i:])
		if unicode.IsLetter(c) {
			if unicode.IsUpper(c) {
				uppers++
				firstUpper = firstUpper || letters == 0
			}
			letters++
			r.arena = appendFolded(r.arena, c)
			i += w
			continue
		}
		if unicode.Is(unicode.Mn, c) {
			i += w
			continue
		}
		if apostrophe(c) {
			if end, ok := r.ending(text, i, w); ok {
				return r.closeWord(text, a, start, i, end, joined, firstUpper && uppers == 1 && letters > 1)
			}
			if next, nw := utf8.DecodeRuneInString(text[i+w:]); nw > 0 && unicode.IsLetter(next) {
				i += w
				continue
			}
		}
		if c == '.' && letters == 1 && i-start == 1 {
			if next, nw := utf8.DecodeRuneInString(text[i+1:]); nw > 0 && unicode.IsLetter(next) && soleLetter(text[i+1+nw:]) {
				i++
				r.arena = appendFolded(r.arena, next)
				i += nw
				if i < len(text) && text[i] == '.' {
					i++
				}
			}
		}
		break
	}
	if j := r.withDigits(text, a, i); j > i {
		i = j
	}
	if letters == 1 {
		i = r.withStrokes(text, a, i)
	}
	if letters == 2 && i-start == 3 { // "sí" and "él" are other words than "si" and "el"
		r.arena = append(r.arena, "´"...)
		if _, ok := r.l.words[string(r.arena[a:])]; !ok {
			r.arena = r.arena[:len(r.arena)-len("´")]
		}
	}
	r.toks = append(r.toks, token{start: start, end: i, a: a, b: len(r.arena), id: -1, joined: joined, cap: firstUpper && uppers == 1 && letters > 1})
	return i
}

// soleLetter tells whether no further letter follows at once.
func soleLetter(rest string) bool {
	c, w := utf8.DecodeRuneInString(rest)
	return w == 0 || !unicode.IsLetter(c)
}

// ending looks whether at text[i:] an apostrophe starts a listed ending.
func (r *run) ending(text string, i, w int) (end int, ok bool) {
	var buf [8]byte
	b := append(buf[:0], '\'')
	j := i + w
	for j < len(text) && len(b) < len(buf) {
		c, cw := utf8.DecodeRuneInString(text[j:])
		if !unicode.IsLetter(c) {
			break
		}
		b = appendFolded(b, c)
		j += cw
	}
	_, ok = r.l.words[string(b)]
	return j, ok
}

// closeWord ends the word before an apostrophe ending and adds the ending: as
// its own token, or to the word's span where the lists drop it.
func (r *run) closeWord(text string, a, start, at, end int, joined, caps bool) int {
	r.toks = append(r.toks, token{start: start, end: at, a: a, b: len(r.arena), id: -1, joined: joined, cap: caps})
	b := len(r.arena)
	r.arena = append(r.arena, '\'')
	for _, c := range text[at:end] {
		if unicode.IsLetter(c) {
			r.arena = appendFolded(r.arena, c)
		}
	}
	if r.l.dropped(string(r.arena[b:])) {
		r.arena = r.arena[:b]
		r.toks[len(r.toks)-1].end = end
		return end
	}
	r.toks = append(r.toks, token{start: at, end: end, a: b, b: len(r.arena), id: -1, joined: true})
	return end
}

// withStrokes takes letters with strokes between ("n/v/d") into the word where
// the lists know it so; the arena then holds them.
func (r *run) withStrokes(text string, a, i int) int {
	b, j := len(r.arena), i
	for j+1 < len(text) && j < i+6 && text[j] == '/' && soleLetter(text[min(j+2, len(text)):]) {
		c := text[j+1] | 0x20
		if c < 'a' || c > 'z' {
			break
		}
		r.arena = append(r.arena, '/', c)
		j += 2
	}
	if j > i {
		if _, ok := r.l.words[string(r.arena[a:])]; ok {
			return j
		}
	}
	r.arena = r.arena[:b]
	return i
}

// withDigits takes digits that follow letters at once into the word where the
// lists know it so; the arena then holds them.
func (r *run) withDigits(text string, a, i int) int {
	j := i
	for j < len(text) && j < i+3 && text[j] >= '0' && text[j] <= '9' {
		j++
	}
	if j == i {
		return i
	}
	b := len(r.arena)
	r.arena = append(r.arena, text[i:j]...)
	if _, ok := r.l.words[string(r.arena[a:])]; ok {
		return j
	}
	r.arena = r.arena[:b]
	return i
}

// scanNumber reads digits with their points, commas, colons and slashes.
func (r *run) scanNumber(text string, i int) int {
	t := token{start: i, kind: number, id: -1, joined: r.abuts(i)}
	v, digits, j := digitsAt(text, i)
	t.val = v
	if digits >= 7 {
		t.form = long
	}
	if j+1 < len(text) && isDigit(text[j+1]) {
		w, n, k := digitsAt(text, j+1)
		again := k+1 < len(text) && isDigit(text[k+1])
		switch sep := text[j]; {
		case sep == ':' && digits <= 2 && n == 2 && v < 25 && w < 60:
			t.form, t.den, j = clock, w, k
			if again && text[k] == ':' { // seconds
				_, _, j = digitsAt(text, k+1)
			}
		case (sep == '-' || sep == '.' || sep == '/') && again && text[k] == sep, sep == '-' && digits == 3 && n >= 4:
			for j < len(text) && (isDigit(text[j]) || (text[j] == sep && j+1 < len(text) && isDigit(text[j+1]))) {
				j++ // a phone number or a date
			}
			t.form = long
		case (sep == ',' || sep == '.') && n == 3 && digits <= 3 && v > 0 && (sep == ',' || v < 10 && w == 0):
			t.val, j = v*1000+w, k // 1,000
		case sep == ',' || sep == '.':
			t.form, j = decimal, k
			t.val = v + w/pow10(n)
		case sep == '/' && w > 0:
			t.form, t.den, j = fraction, w, k
		}
	}
	t.end = j
	r.toks = append(r.toks, t)
	return j
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// digitsAt reads the digits at text[i:]; beyond nine they count as nine.
func digitsAt(text string, i int) (v float64, n, end int) {
	for i < len(text) && isDigit(text[i]) {
		if n < 9 {
			v = v*10 + float64(text[i]-'0')
		}
		n++
		i++
	}
	return v, n, i
}

func pow10(n int) float64 {
	p := 1.0
	for ; n > 0 && p < 1e9; n-- {
		p *= 10
	}
	return p
}
