package smpp

import (
	"encoding/binary"
	"slices"
	"strings"
	"time"
)

// esm_class bits (section 5.2.12).
const (
	esmTypeMask = 0x3C
	esmReceipt  = 0x04
	esmUDHI     = 0x40
)

// withHeader puts a concatenation header (3GPP TS 23.040, 9.2.3.24.1) before a part.
func withHeader(ref, total, part int, octets []byte) []byte {
	return append([]byte{5, 0, 3, byte(ref), byte(total), byte(part)}, octets...)
}

// place says which part of which text a message is; total 1 is a text on its own.
type place struct{ ref, total, part int }

// unwrap parts the header from the octets of a message, and finds its place in
// a text of several parts by the header or by the sar_ parameters. A header
// that cannot be read is left out of the text all the same.
func unwrap(m message) (place, []byte) {
	octets := m.short
	if payload, ok := m.tlvs[tagPayload]; ok && len(octets) == 0 {
		octets = payload
	}
	at := place{0, 1, 1}
	ref, total, part := m.tlvs[tagSarRef], m.tlvs[tagSarTotal], m.tlvs[tagSarPart]
	if len(ref) == 2 && len(total) == 1 && len(part) == 1 {
		at = place{int(binary.BigEndian.Uint16(ref)), int(total[0]), int(part[0])}
	}
	if m.esm&esmUDHI != 0 && len(octets) > 0 {
		n := int(octets[0]) + 1
		if n > len(octets) {
			return place{0, 1, 1}, nil
		}
		for ies := octets[1:n]; len(ies) >= 2 && len(ies) >= 2+int(ies[1]); ies = ies[2+int(ies[1]):] {
			switch {
			case ies[0] == 0x00 && ies[1] == 3:
				at = place{int(ies[2]), int(ies[3]), int(ies[4])}
			case ies[0] == 0x08 && ies[1] == 4:
				at = place{0x10000 | int(ies[2])<<8 | int(ies[3]), int(ies[4]), int(ies[5])}
			}
		}
		octets = octets[n:]
	}
	if at.total < 1 || at.part < 1 || at.part > at.total {
		at = place{0, 1, 1}
	}
	return at, octets
}

// longKey tells long texts apart while their parts come in.
type longKey struct {
	from, to   string
	ref, total int
}

// longText is a text of which some parts have come.
type longText struct {
	key    longKey
	parts  []string
	have   []bool
	since  time.Time
	answer []func(status uint32) bool // of each PDU that brought a part
}

// joiner holds the parts of long texts until the text is whole, or has waited
// for too long. It has no clock: time is told.
type joiner struct {
	wait time.Duration
	most int // long texts held at once
	held []*longText
}

// add takes a part and returns the text if it is whole now. Where too many are
// held already, the oldest is returned as well, as it is.
func (j *joiner) add(key longKey, part int, body string, answer func(uint32) bool, now time.Time) (out []*longText) {
	var t *longText
	for _, h := range j.held {
		if h.key == key {
			t = h
		}
	}
	if t == nil {
		if len(j.held) >= j.most {
			out = append(out, j.held[0])
			j.held = j.held[1:]
		}
		t = &longText{key: key, parts: make([]string, key.total), have: make([]bool, key.total), since: now}
		j.held = append(j.held, t)
	}
	t.parts[part-1], t.have[part-1] = body, true
	t.answer = append(t.answer, answer)
	if !slices.Contains(t.have, false) {
		j.drop(t)
		out = append(out, t)
	}
	return out
}

// due returns the texts that have waited for too long, and the time of the next; zero if none is held.
func (j *joiner) due(now time.Time) (out []*longText, next time.Time) {
	for len(j.held) > 0 && !now.Before(j.held[0].since.Add(j.wait)) {
		out = append(out, j.held[0])
		j.held = j.held[1:]
	}
	if len(j.held) > 0 {
		next = j.held[0].since.Add(j.wait)
	}
	return out, next
}

func (j *joiner) drop(t *longText) {
	j.held = slices.DeleteFunc(j.held, func(h *longText) bool { return h == t })
}

// body is what there is of the text; "…" stands for what is missing.
func (t *longText) body() string {
	var out strings.Builder
	gap := false
	for i, part := range t.parts {
		if !t.have[i] {
			if !gap {
				out.WriteString("…")
			}
			gap = true
			continue
		}
		gap = false
		out.WriteString(part)
	}
	return out.String()
}
