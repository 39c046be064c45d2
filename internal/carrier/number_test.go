package carrier

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nyaruka/phonenumbers"

	"hearthline/internal/testneed"
)

func TestE164(t *testing.T) {
	for _, c := range []struct {
		name, raw, region string
		options           []NumberOption
		want, why         string
	}{
		{"as people write it", "(202) 555-0143", "US", nil, "+12025550143", ""},
		{"with its country", "+1 202-555-0143", "", nil, "+12025550143", ""},
		{"region in small letters", "202.555.0143", "us", nil, "+12025550143", ""},
		{"another country", "07400 123456", "GB", nil, "+447400123456", ""},
		{"full-width digits", "２０２５５５０１４３", "US", nil, "+12025550143", ""},
		{"fiction under an area code in use", "212 555 0100", "US", nil, "+12125550100", ""},
		{"fiction under no area code", "222 555 0143", "US", nil, "", "no number in its country begins so"},
		{"the same, for the demo", "222 555 0143", "US", []NumberOption{Fictitious}, "+12225550143", ""},
		{"the option takes nothing else", "222 555 0243", "US", []NumberOption{Fictitious}, "", "no number in its country begins so"},
		{"no area code", "555-0143", "US", nil, "", "area code"},
		{"no area code, for the demo", "555-0143", "US", []NumberOption{Fictitious}, "", "area code"},
		{"too short", "+1 202 555", "", nil, "", "too few digits"},
		{"too long", "+1 202 555 0143 77", "", nil, "", "too many digits"},
		{"extension", "202 555 0143 x12", "US", nil, "", "extension"},
		{"no region", "202 555 0143", "", nil, "", "country is not known"},
		{"no such region", "202 555 0143", "QQ", nil, "", "country is not known"},
		{"no number", "call me", "US", nil, "", "no telephone number"},
		{"empty", "  ", "US", nil, "", "empty"},
		{"a book", strings.Repeat("2", 41), "US", nil, "", "too long"},
		{"landline", "020 7031 3000", "GB", nil, "", "landline"},
		{"toll-free", "800 234 5678", "US", nil, "", "toll-free"},
		{"premium", "900 234 5678", "US", nil, "", "premium"},
		{"emergency", "911", "US", nil, "", "too few digits"},
	} {
		got, err := E164(c.raw, c.region, c.options...)
		if got != c.want || (err == nil) != (c.why == "") || err != nil && !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: E164(%q, %q) = %q, %v; want %q, %q", c.name, c.raw, c.region, got, err, c.want, c.why)
		}
		if err != nil && len(c.raw) > 6 && strings.Contains(err.Error(), c.raw) && !strings.Contains(c.raw, "202") {
			t.Errorf("%s: the error quotes the number: %v", c.name, err)
		}
	}
}

// Source: the example numbers of libphonenumber's metadata for the countries of
// +1 and some more, with E.164, validity and kind as an independent port of the
// library gives them.
func TestExampleNumbers(t *testing.T) {
	file, err := os.Open(filepath.Join(testneed.Data(t), "libphonenumber", "expected_e164.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comma, r.LazyQuotes = '\t', true
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]phonenumbers.PhoneNumberType{
		"FIXED_LINE": phonenumbers.FIXED_LINE, "MOBILE": phonenumbers.MOBILE, "FIXED_LINE_OR_MOBILE": phonenumbers.FIXED_LINE_OR_MOBILE,
		"TOLL_FREE": phonenumbers.TOLL_FREE, "PREMIUM_RATE": phonenumbers.PREMIUM_RATE, "SHARED_COST": phonenumbers.SHARED_COST,
		"VOIP": phonenumbers.VOIP, "PERSONAL_NUMBER": phonenumbers.PERSONAL_NUMBER, "PAGER": phonenumbers.PAGER,
		"UAN": phonenumbers.UAN, "VOICEMAIL": phonenumbers.VOICEMAIL,
	}
	good, taken := 0, 0
	for _, row := range rows[1:] {
		region, national, want, valid, kind := row[0], row[2], row[3], row[4] == "true", row[6]
		n, err := parseNumber(national, region)
		if err != nil {
			t.Errorf("%s %s: %v", region, national, err)
			continue
		}
		if got := phonenumbers.Format(n, phonenumbers.E164); got != want || phonenumbers.IsValidNumber(n) != valid || phonenumbers.GetNumberType(n) != kinds[kind] {
			t.Errorf("%s %s: %s valid %v kind %d; want %s valid %v kind %s", region, national, got, phonenumbers.IsValidNumber(n), phonenumbers.GetNumberType(n), want, valid, kind)
			continue
		}
		good++
		textable := kind == "MOBILE" || kind == "FIXED_LINE_OR_MOBILE" || kind == "VOIP"
		got, err := E164(national, region)
		if textable != (err == nil) || textable && got != want {
			t.Errorf("%s %s (%s): E164 = %q, %v", region, national, kind, got, err)
		}
		if textable {
			taken++
		}
	}
	if good != 145 || taken != 36 {
		t.Errorf("%d of 145 example numbers agree, %d of 36 are taken", good, taken)
	}
}

func FuzzE164(f *testing.F) {
	f.Add("(202) 555-0143", "US")
	f.Add("+1 202 555 0143 x12", "")
	f.Add("tel:202-555-0143;phone-context=+1", "GB")
	f.Fuzz(func(t *testing.T, raw, region string) {
		got, err := E164(raw, region, Fictitious)
		if (err == nil) != isE164(got) {
			t.Fatalf("E164(%q, %q) = %q, %v", raw, region, got, err)
		}
		if err == nil {
			if again, err := E164(got, "", Fictitious); again != got || err != nil {
				t.Fatalf("E164(%q) = %q, %v", got, again, err)
			}
		}
	})
}
