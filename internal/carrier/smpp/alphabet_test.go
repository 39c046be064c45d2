package smpp

import (
	"bufio"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"pgregory.net/rapid"

	"hearthline/internal/journal"
	"hearthline/internal/testneed"
)

// Source: the GSM 03.38 table of the Unicode Consortium's mappings. It maps
// 0x09 to the small c cedilla; common libraries take the capital, as we do.
func TestAlphabetTable(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(testneed.Data(t), "gsm7", "*.TXT"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no table: %v", err)
	}
	file, err := os.Open(files[0])
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	checked := 0
	for lines := bufio.NewScanner(file); lines.Scan(); {
		f := strings.Fields(lines.Text())
		if len(f) < 2 || !strings.HasPrefix(f[0], "0x") || !strings.HasPrefix(f[1], "0x") {
			continue
		}
		code, err1 := strconv.ParseUint(f[0][2:], 16, 16)
		r, err2 := strconv.ParseUint(f[1][2:], 16, 32)
		if err1 != nil || err2 != nil {
			t.Fatalf("line %q", lines.Text())
		}
		octets := []byte{byte(code)}
		if code > 0xFF {
			octets = []byte{byte(code >> 8), byte(code)}
		}
		want := string(rune(r))
		switch code {
		case 0x09:
			want = "Ç"
		case 0x1B: // the escape alone
			want = " "
		}
		if got := fromGSM(octets); got != want {
			t.Errorf("%s = %q, want %q", f[0], got, want)
		}
		checked++
	}
	if checked < 137 {
		t.Errorf("%d codes checked, want 128 and the extension", checked)
	}
}

// Edges of 3GPP TS 23.038 and 23.040: 160 and 153 septets, 70 and 67 UCS-2
// units; a pair is never split.
func TestEncodeEdges(t *testing.T) {
	a := func(n int) string { return strings.Repeat("a", n) }
	for _, c := range []struct {
		text  string
		parts int
		ucs2  bool
	}{
		{"", 1, false}, {a(160), 1, false}, {a(161), 2, false}, {a(306), 2, false}, {a(307), 3, false},
		{a(158) + "€", 1, false}, {a(159) + "€", 2, false}, {a(152) + "€" + a(152), 3, false},
		{strings.Repeat("č", 70), 1, true}, {strings.Repeat("č", 71), 2, true},
		{strings.Repeat("č", 66) + "\U0001F600" + strings.Repeat("č", 66), 3, true},
		{"38°C", 1, true}, {"sí", 1, true},
	} {
		coding, parts := encode(c.text)
		if len(parts) != c.parts || (coding == codingUCS2) != c.ucs2 {
			t.Errorf("encode(%d characters) = %d parts, coding %d; want %d, UCS-2 %v", len([]rune(c.text)), len(parts), coding, c.parts, c.ucs2)
		}
	}
}

// What goes out reads back as it was, part by part, in as many parts as the
// rest of the house counts.
func TestEncodeRoundTrip(t *testing.T) {
	long := 0
	rapid.Check(t, func(t *rapid.T) {
		runes := rapid.SampledFrom([]rune("abcÇé€{}~^ \n")) // all of the GSM alphabet
		if rapid.Bool().Draw(t, "beyond it") {
			runes = rapid.OneOf(runes, rapid.SampledFrom([]rune("\U0001F600í漢")), rapid.Rune())
		}
		n := rapid.IntRange(0, 400).Draw(t, "length")
		text := rapid.StringOfN(runes, n, n, -1).Draw(t, "text")
		coding, parts := encode(text)
		count := journal.Segments(text)
		if max(count.Parts, 1) != len(parts) || count.UCS2 != (coding == codingUCS2) {
			t.Fatalf("%d parts, coding %d; journal.Segments says %+v", len(parts), coding, count)
		}
		back := ""
		for i, octets := range parts {
			m := message{coding: coding, short: octets}
			want := place{0, 1, 1}
			if len(parts) > 1 {
				m.short, m.esm = withHeader(7, len(parts), i+1, octets), esmUDHI
				want = place{7, len(parts), i + 1}
			}
			if len(m.short) > 160 {
				t.Fatalf("part %d has %d octets", i+1, len(m.short))
			}
			read, err := readMessage(m.bytes())
			if err != nil {
				t.Fatal(err)
			}
			at, rest := unwrap(read)
			part, ok := fromCoding(coding, rest, false)
			if at != want || !ok {
				t.Fatalf("part %d is at %+v", i+1, at)
			}
			back += part
		}
		if len(parts) > 1 {
			long++
		}
		if want := string(utf16.Decode(utf16.Encode([]rune(text)))); back != want {
			t.Fatalf("read back %q, want %q", back, want)
		}
	})
	if long == 0 {
		t.Error("no text needed several parts: the check saw nothing of what it is for")
	}
}

func TestFromCoding(t *testing.T) {
	for _, c := range []struct {
		coding byte
		octets string
		latin1 bool
		want   string
		ok     bool
	}{
		{0, "\x00\x1b\x65\x7f", false, "@€à", true},
		{0, "\x1b\x41\x1b\x1b\x80", false, "A \uFFFD", true},
		{0, "caf\xe9", true, "café", true},
		{1, "plain @ {\n", false, "plain @ {\n", true},
		{1, "a \x00 \x1b\x28", false, "a @ {", true}, // said to be ASCII, written in the GSM alphabet
		{3, "ma\xf1ana", false, "mañana", true},
		{8, "\x00h\xd8\x3d\xde\x00", false, "h\U0001F600", true},
		{8, "\x00h\xd8\x3d", false, "h\uFFFD", true},
		{8, "\x00h\x00", false, "h\uFFFD", true},
		{4, "\x89PNG", false, "", false},
		{2, "x", false, "", false},
		{0xF1, "\x00", false, "@", true},
		{0xF5, "x", false, "", false},
		{0x18, "\x00h", false, "h", true},
		{0xE0, "\x00h", false, "h", true},
		{0x11, "\x00", false, "@", true},
	} {
		if got, ok := fromCoding(c.coding, []byte(c.octets), c.latin1); got != c.want || ok != c.ok {
			t.Errorf("fromCoding(0x%02X, %q) = %q, %v; want %q, %v", c.coding, c.octets, got, ok, c.want, c.ok)
		}
	}
}
