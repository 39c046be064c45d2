package smpp

import (
	"strings"

	"hearthline/internal/carrier"
)

// receiptState is what a receipt says: delivered, undelivered, or "" for no news.
var receiptState = map[string]string{
	"DELIVRD": carrier.StatusDelivered,
	"EXPIRED": carrier.StatusUndelivered, "DELETED": carrier.StatusUndelivered,
	"UNDELIV": carrier.StatusUndelivered, "REJECTD": carrier.StatusUndelivered,
	// Accepted "on behalf of the subscriber", unknown and en route are no delivery.
	"ENROUTE": "", "ACCEPTD": "", "UNKNOWN": "",
}

// stateNames are the values of message_state (section 5.2.28), from 1.
var stateNames = []string{"ENROUTE", "DELIVRD", "EXPIRED", "DELETED", "UNDELIV", "ACCEPTD", "UNKNOWN", "REJECTD"}

// readReceipt reads a delivery receipt: the optional parameters where they are
// there, else the text of appendix B,
//
//	id:IIIIIIIIII sub:SSS dlvrd:DDD submit date:YYMMDDhhmm done date:YYMMDDhhmm stat:DDDDDDD err:E Text:...
//
// which the specification leaves to the maker: fields are found by name,
// whatever their case, order and width. ok is false if it names no text or no state.
func readReceipt(m message, text string) (id, status, why string, ok bool) {
	fields := receiptFields(text)
	id = fields["id"]
	if tlv := m.tlvs[tagReceiptedID]; len(tlv) > 0 {
		id = strings.TrimRight(string(tlv), "\x00")
	}
	state := strings.ToUpper(fields["stat"])
	if tlv := m.tlvs[tagState]; len(tlv) == 1 && tlv[0] >= 1 && int(tlv[0]) <= len(stateNames) {
		state = stateNames[tlv[0]-1]
	}
	status, known := receiptState[state]
	if status == carrier.StatusUndelivered {
		why = state
		if code := fields["err"]; code != "" && len(code) <= 4 {
			why += ", error " + code
		}
	}
	return id, status, why, id != "" && known
}

func receiptFields(text string) map[string]string {
	fields := map[string]string{}
	text = strings.ToValidUTF8(text, "?")
	lower := strings.Map(asciiLower, text)               // keeps every offset
	if end := strings.Index(lower, " text:"); end >= 0 { // what follows is a caregiver's or ours
		lower, text = lower[:end], text[:min(end, len(text))]
	}
	for _, name := range []string{"id", "stat", "err"} {
		for from := 0; ; {
			i := strings.Index(lower[from:], name+":")
			if i < 0 {
				break
			}
			i += from
			from = i + 1
			if i > 0 && lower[i-1] != ' ' { // "id:" ends no other word
				continue
			}
			value, _, _ := strings.Cut(text[min(i+len(name)+1, len(text)):], " ")
			fields[name] = strings.TrimSpace(value)
			break
		}
	}
	return fields
}

func asciiLower(r rune) rune {
	if r >= 'A' && r <= 'Z' {
		return r + 'a' - 'A'
	}
	return r
}
