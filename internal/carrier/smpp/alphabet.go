package smpp

import (
	"encoding/binary"
	"strings"
	"unicode/utf16"
)

// gsmTable is the GSM 7-bit default alphabet by code (3GPP TS 23.038, 6.2.1);
// the escape, code 0x1B, is written as U+001B.
var gsmTable = []rune("@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?" +
	"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà")

// gsmExtension is what follows the escape (6.2.1.1).
var gsmExtension = map[byte]rune{0x0A: '\f', 0x14: '^', 0x28: '{', 0x29: '}', 0x2F: '\\', 0x3C: '[', 0x3D: '~', 0x3E: ']', 0x40: '|', 0x65: '€'}

const gsmEscape = 0x1B

// gsmCode is how each character is written: one octet, or the escape and another.
var gsmCode = func() map[rune][]byte {
	codes := map[rune][]byte{}
	for code, r := range gsmTable {
		if code != gsmEscape {
			codes[r] = []byte{byte(code)}
		}
	}
	for code, r := range gsmExtension {
		codes[r] = []byte{gsmEscape, code}
	}
	return codes
}()

// fromGSM reads unpacked septets. An escape before something unknown shows
// the character of the default alphabet, as TS 23.038 asks.
func fromGSM(octets []byte) string {
	var out strings.Builder
	for i := 0; i < len(octets); i++ {
		c := octets[i]
		if c == gsmEscape && i+1 < len(octets) {
			i++
			if r, ok := gsmExtension[octets[i]]; ok {
				out.WriteRune(r)
				continue
			}
			c = octets[i]
		}
		switch {
		case c == gsmEscape:
			out.WriteByte(' ')
		case int(c) < len(gsmTable):
			out.WriteRune(gsmTable[c])
		default:
			out.WriteRune('\uFFFD')
		}
	}
	return out.String()
}

func fromLatin1(octets []byte) string {
	r := make([]rune, len(octets))
	for i, o := range octets {
		r[i] = rune(o)
	}
	return string(r)
}

func fromUCS2(octets []byte) string {
	units := make([]uint16, (len(octets)+1)/2)
	for i := range units {
		if 2*i+1 < len(octets) {
			units[i] = binary.BigEndian.Uint16(octets[2*i:])
		} else {
			units[i] = 0xFFFD // half a character
		}
	}
	return string(utf16.Decode(units))
}

// Codings (section 5.2.19).
const (
	codingDefault = 0x00
	codingASCII   = 0x01
	codingLatin1  = 0x03
	codingUCS2    = 0x08
)

// fromCoding reads octets by their data_coding; ok is false if they are no text.
func fromCoding(coding byte, octets []byte, defaultLatin1 bool) (text string, ok bool) {
	switch {
	case coding == codingDefault && defaultLatin1, coding == codingLatin1, coding == codingASCII && !looksGSM(octets):
		return fromLatin1(octets), true
	case coding == codingDefault, coding == codingASCII:
		return fromGSM(octets), true
	case coding == codingUCS2:
		return fromUCS2(octets), true
	case coding < 0x10:
		return "", false // octets, and alphabets that are not spoken here
	}
	// The groups of GSM TS 03.38, section 4.
	switch {
	case coding&0xF0 == 0xF0 && coding&0x04 == 0, coding < 0x40 && coding&0x2C == 0, coding&0xF0 == 0xC0, coding&0xF0 == 0xD0:
		return fromGSM(octets), true
	case coding < 0x40 && coding&0x2C == 0x08, coding&0xF0 == 0xE0:
		return fromUCS2(octets), true
	}
	return "", false
}

// looksGSM reports whether octets that are said to be ASCII hold control
// characters that nobody types: some centres say ASCII and write the GSM
// alphabet, in which "@" is 0x00 and "{" begins with 0x1B.
func looksGSM(octets []byte) bool {
	for _, o := range octets {
		if o < ' ' && o != '\n' && o != '\r' && o != '\t' && o != '\f' {
			return true
		}
	}
	return false
}

// What fits in one part, alone and as one of several: journal.Segments counts by the same.
const (
	gsmAlone, gsmJoined   = 160, 153
	ucs2Alone, ucs2Joined = 140, 134 // octets
)

// encode turns a text into the octets of its parts, without headers. No escape
// pair and no surrogate pair is split. The empty text is one empty part.
func encode(text string) (coding byte, parts [][]byte) {
	code := func(r rune) []byte { return gsmCode[r] }
	alone, joined := gsmAlone, gsmJoined
	for _, r := range text {
		if gsmCode[r] == nil {
			coding, alone, joined = codingUCS2, ucs2Alone, ucs2Joined
			code = func(r rune) []byte {
				var b []byte
				for _, unit := range utf16.Encode([]rune{r}) {
					b = binary.BigEndian.AppendUint16(b, unit)
				}
				return b
			}
			break
		}
	}
	var whole, part []byte
	for _, r := range text {
		c := code(r)
		whole = append(whole, c...)
		if len(part)+len(c) > joined {
			parts = append(parts, part)
			part = nil
		}
		part = append(part, c...)
	}
	if len(whole) <= alone {
		return coding, [][]byte{whole}
	}
	return coding, append(parts, part)
}
