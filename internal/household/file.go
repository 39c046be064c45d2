package household

import (
	"errors"
	"fmt"
	"path"
	"regexp"

	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// File is a household as it is put on file: who is fed, who answers, and the
// regimen file beside it.
//
//	household: maple-17
//	name: June R.
//	tag: J                      # one word; needed where one phone serves two households
//	regimen: maple-17.regimen.yaml
//	checked_by: the second person       # a second person; needed where something stands out, and for a changed order
//	caregivers:
//	  - {name: Ana, phone: "+1 202 555 0143", language: en}
type File struct {
	Household  string          `yaml:"household"`
	Name       string          `yaml:"name"`
	Tag        string          `yaml:"tag"`
	Regimen    string          `yaml:"regimen"`
	CheckedBy  string          `yaml:"checked_by"` // who confirmed what stands out in the order, or a changed order
	Caregivers []FileCaregiver `yaml:"caregivers"`
}

// FileCaregiver is one caregiver of a File, in the order in which they are asked.
type FileCaregiver struct {
	Name     string `yaml:"name"`
	Phone    string `yaml:"phone"`
	Language string `yaml:"language"`
}

var codeForm = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// maxCaregivers bounds the caregivers of one household.
const maxCaregivers = 8

// ParseFile reads a household file and the regimen file that it names. read
// gives the content of a file beside it; number turns a phone number into
// E.164 or says why it cannot. What a person must confirm comes back as
// warnings. Every error names file and field; on any error nothing is returned.
func ParseFile(name string, src []byte, read func(name string) ([]byte, error), number func(raw string) (string, error), lim *regimen.Limits) (journal.HouseholdID, Enrol, []regimen.Warning, error) {
	var f File
	fail := func(errs ...error) (journal.HouseholdID, Enrol, []regimen.Warning, error) {
		return "", Enrol{}, nil, errors.Join(errs...)
	}
	if err := decodeYAML(name, src, &f); err != nil {
		return fail(err)
	}
	var errs []error
	bad := func(field, format string, args ...any) {
		errs = append(errs, fmt.Errorf("%s: %s: %s", name, field, fmt.Sprintf(format, args...)))
	}
	if !codeForm.MatchString(f.Household) || len(f.Household) > 40 || journal.HouseholdID(f.Household).Stranger() {
		bad("household", "%q is not a code; give lower-case letters, digits and dashes, such as maple-17", f.Household)
	}
	if len(f.Caregivers) == 0 || len(f.Caregivers) > maxCaregivers {
		bad("caregivers", "has %d; give 1 to %d", len(f.Caregivers), maxCaregivers)
	}
	who := journal.Enrolled{Name: f.Name, Tag: f.Tag}
	for i, c := range f.Caregivers {
		field := fmt.Sprintf("caregivers[%d]", i)
		phone, err := number(c.Phone)
		if err != nil {
			bad(field+".phone", "%v", err)
		}
		for _, other := range who.Caregivers {
			if other.Phone == phone && phone != "" {
				bad(field+".phone", "is the same as %s's", other.Ref)
			}
		}
		if c.Language == "" {
			bad(field+".language", "is empty; give a language such as en")
		}
		who.Caregivers = append(who.Caregivers, journal.Caregiver{
			Ref: journal.CaregiverRef(fmt.Sprintf("c%d", i+1)), Name: c.Name, Phone: phone, Lang: c.Language})
	}
	if f.Regimen == "" || path.Base(f.Regimen) != f.Regimen {
		bad("regimen", "%q is not the name of a file in the same folder", f.Regimen)
		return fail(errs...)
	}
	order, err := read(f.Regimen)
	if err != nil {
		bad("regimen", "%v", err)
		return fail(errs...)
	}
	p, warnings, err := regimen.Parse(f.Regimen, order, lim)
	if err != nil {
		return fail(append(errs, err)...)
	}
	if f.CheckedBy == "" {
		for _, w := range warnings {
			bad("checked_by", "is empty, and a second person must confirm: %s", w)
		}
	}
	if p.Household != f.Household {
		bad("household", "is %q, but %s is for %q", f.Household, f.Regimen, p.Household)
	}
	if len(errs) > 0 {
		return fail(errs...)
	}
	who.Zone = p.TimeZone
	return journal.HouseholdID(f.Household), Enrol{Who: who, CheckedBy: f.CheckedBy, Prescription: marshal(p)}, warnings, nil
}
