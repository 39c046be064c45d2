package journal

// SegmentCount says how a text is carried over the air: in how many parts, how
// many units of its alphabet it takes (septets of the default alphabet, or
// UTF-16 code units), and which alphabet that is.
type SegmentCount struct {
	Parts int
	Units int
	UCS2  bool // some character is outside the GSM 7-bit default alphabet and its extension
}

// Units that one part holds, alone and as one of several, where the header of
// a concatenated message takes six octets (3GPP TS 23.038 and TS 23.040).
const (
	gsmAlone, gsmJoined   = 160, 153
	ucs2Alone, ucs2Joined = 70, 67
)

// gsmBasic is the GSM 7-bit default alphabet (3GPP TS 23.038, 6.2.1) without
// the escape; each costs one septet.
const gsmBasic = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?" +
	"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"

// gsmExtended is its extension table (6.2.1.1); each costs two septets, which
// may not be parted.
const gsmExtended = "\f^{}\\[~]|€"

var gsmCost = func() map[rune]int {
	cost := map[rune]int{}
	for _, r := range gsmBasic {
		cost[r] = 1
	}
	for _, r := range gsmExtended {
		cost[r] = 2
	}
	return cost
}()

// Segments counts the parts in which s is carried. A pair (escape and
// extension character, or a surrogate pair) is never split across parts, so a
// part may go out one unit short. The empty text takes no part.
func Segments(s string) SegmentCount {
	n := SegmentCount{}
	for _, r := range s {
		if gsmCost[r] == 0 {
			n.UCS2 = true
			break
		}
	}
	cost := func(r rune) int { return gsmCost[r] }
	alone, joined := gsmAlone, gsmJoined
	if n.UCS2 {
		alone, joined = ucs2Alone, ucs2Joined
		cost = func(r rune) int {
			if r > 0xFFFF {
				return 2
			}
			return 1
		}
	}
	left := 0
	for _, r := range s {
		c := cost(r)
		n.Units += c
		if left < c {
			n.Parts++
			left = joined
		}
		left -= c
	}
	if n.Units > 0 && n.Units <= alone {
		n.Parts = 1
	}
	return n
}
