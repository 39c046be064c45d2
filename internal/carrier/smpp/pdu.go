package smpp

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Command ids (section 5.1.2.1). A response has the top bit set.
const (
	genericNack     = 0x80000000
	submitSM        = 0x00000004
	deliverSM       = 0x00000005
	unbind          = 0x00000006
	bindTransceiver = 0x00000009
	enquireLink     = 0x00000015
	responseBit     = 0x80000000
)

// Command statuses (section 5.1.3) that are sent or told apart.
const (
	statusOK            = 0x00
	statusInvalidLength = 0x01 // ESME_RINVMSGLEN
	statusInvalidID     = 0x03 // ESME_RINVCMDID
	statusInvalidDest   = 0x0B // ESME_RINVDSTADR
	statusQueueFull     = 0x14 // ESME_RMSGQFUL
	statusThrottled     = 0x58 // ESME_RTHROTTLED
	statusTryAgain      = 0x64 // ESME_RX_T_APPN
	statusNeverAgain    = 0x65 // ESME_RX_P_APPN
)

// Optional parameters (section 5.3.2).
const (
	tagReceiptedID = 0x001E
	tagSarRef      = 0x020C
	tagSarTotal    = 0x020E
	tagSarPart     = 0x020F
	tagPayload     = 0x0424
	tagState       = 0x0427
)

// pduMost bounds a PDU: the largest payload is 64 KiB, but no text is.
const (
	pduLeast = 16
	pduMost  = 16 << 10
)

// pdu is one protocol data unit.
type pdu struct {
	command, status, sequence uint32
	body                      []byte
}

func (p pdu) bytes() []byte {
	b := make([]byte, 0, pduLeast+len(p.body))
	for _, word := range []uint32{uint32(pduLeast + len(p.body)), p.command, p.status, p.sequence} {
		b = binary.BigEndian.AppendUint32(b, word)
	}
	return append(b, p.body...)
}

// readPDU reads one. After an error the stream cannot be trusted.
func readPDU(r io.Reader) (pdu, error) {
	var head [pduLeast]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return pdu{}, err
	}
	length := binary.BigEndian.Uint32(head[:])
	if length < pduLeast || length > pduMost {
		return pdu{}, fmt.Errorf("a PDU of %d octets; %d to %d are taken", length, pduLeast, pduMost)
	}
	p := pdu{binary.BigEndian.Uint32(head[4:]), binary.BigEndian.Uint32(head[8:]), binary.BigEndian.Uint32(head[12:]), make([]byte, length-pduLeast)}
	_, err := io.ReadFull(r, p.body)
	return p, err
}

// message is the body of submit_sm and deliver_sm (sections 4.4.1 and 4.6.1),
// which have the same fields.
type message struct {
	service                      string
	from, to                     address
	esm, protocol, priority      byte
	schedule, validity           string
	receipt, replace, coding, id byte
	short                        []byte
	tlvs                         map[uint16][]byte
}

// address is a number with its type and plan (sections 5.2.5, 5.2.6).
type address struct {
	ton, npi byte
	number   string
}

func (m message) bytes() []byte {
	b := append([]byte(m.service), 0)
	for _, a := range []address{m.from, m.to} {
		b = append(b, a.ton, a.npi)
		b = append(append(b, a.number...), 0)
	}
	b = append(b, m.esm, m.protocol, m.priority)
	b = append(append(b, m.schedule...), 0)
	b = append(append(b, m.validity...), 0)
	b = append(b, m.receipt, m.replace, m.coding, m.id, byte(len(m.short)))
	b = append(b, m.short...)
	for tag, value := range m.tlvs {
		b = binary.BigEndian.AppendUint16(b, tag)
		b = binary.BigEndian.AppendUint16(b, uint16(len(value)))
		b = append(b, value...)
	}
	return b
}

var errShort = errors.New("the PDU ends before its fields do")

// fieldReader reads the fields of a body one after the other.
type fieldReader struct {
	b   []byte
	err error
}

func (r *fieldReader) octet() byte {
	o := r.octets(1)
	if o == nil {
		return 0
	}
	return o[0]
}

func (r *fieldReader) octets(n int) []byte {
	if r.err != nil || len(r.b) < n {
		r.err = errShort
		return nil
	}
	o := r.b[:n:n]
	r.b = r.b[n:]
	return o
}

// text reads a string that ends with a zero octet, most octets long with it.
func (r *fieldReader) text(most int) string {
	for i := 0; i < len(r.b) && i < most; i++ {
		if r.b[i] == 0 {
			s := string(r.b[:i])
			r.b = r.b[i+1:]
			return s
		}
	}
	if r.err == nil {
		r.err = fmt.Errorf("a string field is longer than %d octets or has no end", most)
	}
	return ""
}

func readMessage(body []byte) (message, error) {
	r := &fieldReader{b: body}
	m := message{service: r.text(6)}
	for _, a := range []*address{&m.from, &m.to} {
		a.ton, a.npi, a.number = r.octet(), r.octet(), r.text(21)
	}
	m.esm, m.protocol, m.priority = r.octet(), r.octet(), r.octet()
	m.schedule, m.validity = r.text(17), r.text(17)
	m.receipt, m.replace, m.coding, m.id = r.octet(), r.octet(), r.octet(), r.octet()
	m.short = r.octets(int(r.octet()))
	m.tlvs = r.tlvs()
	if r.err != nil {
		return message{}, r.err
	}
	return m, nil
}

func (r *fieldReader) tlvs() map[uint16][]byte {
	tlvs := map[uint16][]byte{}
	for r.err == nil && len(r.b) > 0 {
		head := r.octets(4)
		if head == nil {
			break
		}
		tlvs[binary.BigEndian.Uint16(head)] = r.octets(int(binary.BigEndian.Uint16(head[2:])))
	}
	return tlvs
}

// bindBody is that of bind_transceiver (section 4.1.5).
func bindBody(systemID, password, systemType string) []byte {
	var b []byte
	for _, s := range []string{systemID, password, systemType} {
		b = append(append(b, s...), 0)
	}
	return append(b, 0x34, 0, 0, 0) // version, type and plan of our address, its range: none
}
