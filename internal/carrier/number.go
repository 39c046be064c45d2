package carrier

import (
	"errors"
	"fmt"
	"strings"

	"github.com/nyaruka/phonenumbers"
)

// NumberOption widens what E164 takes.
type NumberOption int

// Fictitious takes the numbers +1 NPA 555-0100 to 0199, kept free for invented
// people, under any area code. libphonenumber holds them valid where the area
// code is in use and invalid elsewhere. For demo and tests.
const Fictitious NumberOption = 1

// numberMost bounds what is read as a number at all.
const numberMost = 40

// E164 turns a number as people write it ("(202) 555-0143") into E.164
// ("+12025550143"), reading it as one would in region ("US", ISO 3166-1
// alpha-2) unless it begins with "+". Only valid numbers that can get texts
// are taken: landlines, toll-free, premium, pager and other such numbers are
// refused, as is one with an extension. The error says why, without the number.
//
// What is valid, and of which kind, is libphonenumber's word.
func E164(raw, region string, options ...NumberOption) (string, error) {
	n, err := parseNumber(raw, region)
	if err != nil {
		return "", err
	}
	if n.GetExtension() != "" {
		return "", errors.New("the number has an extension, which cannot get texts; give the number of a mobile phone")
	}
	out := phonenumbers.Format(n, phonenumbers.E164)
	for _, o := range options {
		if o == Fictitious && fictitious(out) {
			return out, nil
		}
	}
	if !phonenumbers.IsValidNumber(n) {
		return "", fmt.Errorf("this is no valid number: %s; write it with its area code, or with + and its country code", invalidWhy(n))
	}
	if why := cannotText[phonenumbers.GetNumberType(n)]; why != "" {
		return "", fmt.Errorf("the number is %s; give the number of a mobile phone", why)
	}
	return out, nil
}

// cannotText says what kinds of numbers are refused. Kinds that may get texts
// (mobile, mobile or landline, internet telephony, and what the metadata
// cannot tell) are not here.
var cannotText = map[phonenumbers.PhoneNumberType]string{
	phonenumbers.FIXED_LINE:      "a landline, which cannot get texts",
	phonenumbers.TOLL_FREE:       "a toll-free number, which is nobody's own phone",
	phonenumbers.PREMIUM_RATE:    "a premium-rate number, which costs whoever texts it",
	phonenumbers.SHARED_COST:     "a shared-cost number, which costs whoever texts it",
	phonenumbers.PERSONAL_NUMBER: "a follow-me number, which passes calls on but no texts",
	phonenumbers.PAGER:           "a pager",
	phonenumbers.UAN:             "a company's common number, which is nobody's own phone",
	phonenumbers.VOICEMAIL:       "a voice mailbox, which cannot get texts",
}

func parseNumber(raw, region string) (*phonenumbers.PhoneNumber, error) {
	if strings.TrimSpace(raw) == "" {
		return nil, errors.New("the number is empty")
	}
	if len(raw) > numberMost {
		return nil, fmt.Errorf("this is too long for a number: %d characters, at most %d are read", len(raw), numberMost)
	}
	n, err := phonenumbers.Parse(raw, strings.ToUpper(region))
	switch {
	case err == nil:
		return n, nil
	case errors.Is(err, phonenumbers.ErrInvalidCountryCode):
		return nil, fmt.Errorf("the number's country is not known: write it with + and its country code, or set the region (now %q) to two letters such as US", region)
	}
	return nil, errors.New("this is no telephone number: give digits with the area code, as in (202) 555-0143")
}

func invalidWhy(n *phonenumbers.PhoneNumber) string {
	switch phonenumbers.IsPossibleNumberWithReason(n) {
	case phonenumbers.TOO_SHORT:
		return "it has too few digits"
	case phonenumbers.TOO_LONG:
		return "it has too many digits"
	case phonenumbers.IS_POSSIBLE_LOCAL_ONLY:
		return "the area code is missing"
	}
	return "no number in its country begins so"
}

// fictitious reports whether an E.164 number is +1 NPA 555-01xx.
func fictitious(e164 string) bool {
	return len(e164) == 12 && strings.HasPrefix(e164, "+1") && e164[5:10] == "55501" && e164[2] >= '2' && e164[2] <= '9'
}
