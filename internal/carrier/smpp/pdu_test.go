package smpp

import (
	"bytes"
	"encoding/hex"
	"reflect"
	"strings"
	"testing"
	"time"
)

// Golden octets, written by hand from sections 4.4.1, 5.2.12, 5.2.17, 5.2.19.
func TestSubmitOctets(t *testing.T) {
	m := message{from: address{3, 0, "40404"}, to: address{1, 1, "12025550143"}, receipt: 1, coding: codingUCS2, esm: esmUDHI,
		short: withHeader(9, 2, 1, []byte{0, 'h'}), tlvs: map[uint16][]byte{tagSarRef: {0, 1}}}
	p := pdu{submitSM, statusOK, 5, m.bytes()}
	want := "0000003f" + "00000004" + "00000000" + "00000005" + // head
		"00" + "0300" + "343034303400" + "0101" + "313230323535353031343300" + // no service; from; to
		"40" + "0000" + "00" + "00" + "01" + "00" + "08" + "00" + // esm; protocol, priority; times; receipt, replace, coding, id
		"08" + "050003090201" + "0068" + // length; header; text
		"020c" + "0002" + "0001" // sar_msg_ref_num
	if got := hex.EncodeToString(p.bytes()); got != want {
		t.Errorf("\n got %s\nwant %s", got, want)
	}
	back, err := readPDU(bytes.NewReader(p.bytes()))
	if err != nil || !reflect.DeepEqual(back, p) {
		t.Errorf("read back %+v, %v", back, err)
	}
	if got, err := readMessage(back.body); err != nil || !reflect.DeepEqual(got, m) {
		t.Errorf("read back %+v, %v\nwant %+v", got, err, m)
	}
}

func TestReadPDURefuses(t *testing.T) {
	for name, octets := range map[string]string{
		"empty": "", "short head": "00000010", "too small": strings.Repeat("00", 16), "too large": "00004001" + strings.Repeat("00", 12),
		"body cut off": "00000012" + strings.Repeat("00", 13),
	} {
		b, err := hex.DecodeString(octets)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := readPDU(bytes.NewReader(b)); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestReadMessageRefusesEveryCut(t *testing.T) {
	whole := message{service: "CMT", from: address{1, 1, "1"}, to: address{1, 1, "2"}, short: []byte("abc"), tlvs: map[uint16][]byte{1: {1, 2}}}.bytes()
	noTLV := len(whole) - 6
	for n := range whole {
		_, err := readMessage(whole[:n])
		if (err == nil) != (n == noTLV) { // without its parameters it is a whole message too
			t.Errorf("cut at %d of %d: %v", n, len(whole), err)
		}
	}
	if _, err := readMessage(message{from: address{number: strings.Repeat("1", 21)}}.bytes()); err == nil {
		t.Error("a number of 21 characters was read")
	}
}

func TestUnwrap(t *testing.T) {
	for _, c := range []struct {
		name string
		m    message
		at   place
		rest string
	}{
		{"plain", message{short: []byte("abc")}, place{0, 1, 1}, "abc"},
		{"payload", message{tlvs: map[uint16][]byte{tagPayload: []byte("long")}}, place{0, 1, 1}, "long"},
		{"8-bit reference", message{esm: esmUDHI, short: []byte("\x05\x00\x03\x07\x02\x01abc")}, place{7, 2, 1}, "abc"},
		{"16-bit reference", message{esm: esmUDHI, short: []byte("\x06\x08\x04\x01\x07\x02\x02abc")}, place{0x10107, 2, 2}, "abc"},
		{"behind another element", message{esm: esmUDHI, short: []byte("\x09\x05\x02\x01\x02\x00\x03\x07\x02\x01abc")}, place{7, 2, 1}, "abc"},
		{"in the payload", message{esm: esmUDHI, tlvs: map[uint16][]byte{tagPayload: []byte("\x05\x00\x03\x07\x02\x01abc")}}, place{7, 2, 1}, "abc"},
		{"sar parameters", message{short: []byte("abc"), tlvs: map[uint16][]byte{tagSarRef: {1, 2}, tagSarTotal: {3}, tagSarPart: {2}}}, place{0x102, 3, 2}, "abc"},
		{"part 0", message{esm: esmUDHI, short: []byte("\x05\x00\x03\x07\x02\x00abc")}, place{0, 1, 1}, "abc"},
		{"part 3 of 2", message{esm: esmUDHI, short: []byte("\x05\x00\x03\x07\x02\x03abc")}, place{0, 1, 1}, "abc"},
		{"header longer than the message", message{esm: esmUDHI, short: []byte("\x50abc")}, place{0, 1, 1}, ""},
		{"element longer than the header", message{esm: esmUDHI, short: []byte("\x03\x00\x09\x07abc")}, place{0, 1, 1}, "abc"},
	} {
		if at, rest := unwrap(c.m); at != c.at || string(rest) != c.rest {
			t.Errorf("%s: %+v %q, want %+v %q", c.name, at, rest, c.at, c.rest)
		}
	}
}

func TestJoin(t *testing.T) {
	at := time.Unix(1000, 0)
	j := joiner{wait: 10 * time.Second, most: 2}
	key := longKey{"a", "b", 1, 3}
	none := func(uint32) bool { return true }
	add := func(k longKey, part int, body string) []*longText { return j.add(k, part, body, none, at) }
	if out := append(add(key, 3, "c"), add(key, 1, "a")...); out != nil {
		t.Fatalf("%d texts before all parts were there", len(out))
	}
	add(key, 3, "c") // again: replaces itself
	out := add(key, 2, "b")
	if len(out) != 1 || out[0].body() != "abc" || len(out[0].answer) != 4 {
		t.Fatalf("joined %+v", out)
	}
	// The same reference for another text, later, begins anew.
	add(key, 2, "y")
	at = at.Add(9 * time.Second)
	if late, next := j.due(at); late != nil || !next.Equal(time.Unix(1010, 0)) {
		t.Fatalf("%d due at 9 s, next %v", len(late), next)
	}
	add(longKey{"c", "b", 1, 2}, 1, "z")
	at = at.Add(time.Second)
	if late, _ := j.due(at); len(late) != 1 || late[0].body() != "…y…" {
		t.Fatalf("due at 10 s: %+v", late)
	}
	add(longKey{"d", "b", 1, 2}, 1, "1")
	if out := add(longKey{"e", "b", 1, 2}, 1, "2"); len(out) != 1 || out[0].body() != "z…" {
		t.Fatalf("a third long text: %+v; want the oldest, as it is", out)
	}
}

func TestReadReceipt(t *testing.T) {
	const published = "id:40072910491427628 sub:001 dlvrd:001 submit date:1007291049 done date:1007291049 stat:DELIVRD err:000"
	for _, c := range []struct {
		name, text      string
		tlvs            map[uint16][]byte
		id, status, why string
		ok              bool
	}{
		{"published example", published, nil, "40072910491427628", "delivered", "", true},
		{"12-digit dates and text", "id:0123 sub:001 dlvrd:000 submit date:260502231000 done date:260502231100 stat:UNDELIV err:27 Text:id:9 stat:DELIVRD", nil, "0123", "undelivered", "UNDELIV, error 27", true},
		{"small text", "id:7 stat:EXPIRED err:001 text:hi", nil, "7", "undelivered", "EXPIRED, error 001", true},
		{"order and case", "STAT:delivrd ID:ab9F", nil, "ab9F", "delivered", "", true},
		{"rejected", "id:7 stat:REJECTD", nil, "7", "undelivered", "REJECTD", true},
		{"accepted is no delivery", "id:7 stat:ACCEPTD", nil, "7", "", "", true},
		{"unknown is no delivery", "id:7 stat:UNKNOWN", nil, "7", "", "", true},
		{"parameters alone", "", map[uint16][]byte{tagReceiptedID: []byte("77\x00"), tagState: {5}}, "77", "undelivered", "UNDELIV", true},
		{"parameters win", published, map[uint16][]byte{tagReceiptedID: []byte("77\x00"), tagState: {2}}, "77", "delivered", "", true},
		{"state beyond the table", "id:7", map[uint16][]byte{tagState: {99}}, "7", "", "", false},
		{"no id", "stat:DELIVRD", nil, "", "delivered", "", false},
		{"a state of nobody", "id:7 stat:GONE", nil, "7", "", "", false},
		{"no receipt at all", "he threw up", nil, "", "", "", false},
	} {
		id, status, why, ok := readReceipt(message{tlvs: c.tlvs}, c.text)
		if id != c.id || status != c.status || why != c.why || ok != c.ok {
			t.Errorf("%s: %q %q %q %v, want %q %q %q %v", c.name, id, status, why, ok, c.id, c.status, c.why, c.ok)
		}
	}
}

func FuzzPDU(f *testing.F) {
	f.Add(pdu{deliverSM, 0, 1, message{esm: esmUDHI, short: withHeader(1, 2, 1, []byte("ab")), tlvs: map[uint16][]byte{tagPayload: []byte("x")}}.bytes()}.bytes())
	f.Add(pdu{deliverSM, 0, 1, message{esm: esmReceipt, short: []byte("id:1 stat:DELIVRD err:0 text:x")}.bytes()}.bytes())
	f.Fuzz(func(t *testing.T, octets []byte) {
		p, err := readPDU(bytes.NewReader(octets))
		if err != nil {
			return
		}
		if !bytes.Equal(p.bytes(), octets[:len(p.bytes())]) {
			t.Fatal("a PDU is not written as it was read")
		}
		m, err := readMessage(p.body)
		if err != nil {
			return
		}
		if again, err := readMessage(m.bytes()); err != nil || len(again.short) != len(m.short) || len(again.tlvs) != len(m.tlvs) {
			t.Fatalf("%+v reads back as %+v, %v", m, again, err)
		}
		at, rest := unwrap(m)
		if at.total < 1 || at.part < 1 || at.part > at.total {
			t.Fatalf("unwrap places it at %+v", at)
		}
		text, _ := fromCoding(m.coding, rest, false)
		readReceipt(m, text)
		j := joiner{wait: time.Second, most: 2}
		j.add(longKey{total: at.total}, at.part, text, func(uint32) bool { return true }, time.Unix(0, 0))
	})
}
