package fhir

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hearthline/internal/regimen"
	"hearthline/internal/testneed"
)

func limits(t testing.TB) *regimen.Limits {
	t.Helper()
	src, err := os.ReadFile(filepath.Join(testneed.Root(t), "flows", "limits.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := regimen.ParseLimits("limits.yaml", src)
	if err != nil {
		t.Fatal(err)
	}
	return lim
}

// example reads one of the standard's own published examples (npm package
// hl7.fhir.r4.examples 4.0.1, CC0-1.0).
func example(t testing.TB, name string) []byte {
	t.Helper()
	src, err := os.ReadFile(filepath.Join(testneed.Data(t), "fhir_r4", "nutritionorder-example-"+name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	return src
}

func said(d *Draft) string {
	var b strings.Builder
	for _, f := range d.Findings {
		b.WriteString(f.String() + "\n")
	}
	return b.String()
}

// The bolus example: 6 feeds at 16, 20, 00, 04, 08, 12 h Z of 240 mL are 1440
// mL, its limit; 2160 kcal, once a person has confirmed the unit.
func TestPublishedBolusExample(t *testing.T) {
	src := example(t, "enteralbolus")
	d, err := ReadOrder("bolus.json", src, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d.Prescription == nil || d.Prescription.Formula.EnergyKcalPerML != 0 {
		t.Fatalf("without a person's word the energy must stay unknown: %+v", d.Prescription)
	}
	if text := said(d); !strings.Contains(text, "bolus.json:78: enteralFormula.caloricDensity: the density is 1.5 with the code cal/mL, which in UCUM is 0.0015 kcal/mL") {
		t.Errorf("the unit is not questioned:\n%s", text)
	}
	d, err = ReadOrder("bolus.json", src, Options{AcceptUnits: true})
	if err != nil {
		t.Fatal(err)
	}
	pl, err := regimen.Compile(d.Prescription, limits(t))
	if err != nil {
		t.Fatal(err)
	}
	day := pl.FeedDay(time.Date(2014, 9, 17, 16, 0, 0, 0, time.UTC))
	var hours []int
	for _, f := range day.Feeds {
		if f.ML != 240 {
			t.Errorf("%s has %d mL", f.Key, f.ML)
		}
		hours = append(hours, f.Start.Hour())
	}
	if !slices.Equal(hours, []int{16, 20, 0, 4, 8, 12}) || day.Totals.VolumeML != 1440 || day.Totals.EnergyMilliKcal != 2_160_000 {
		t.Errorf("feeds at %v, %+v", hours, day.Totals)
	}
	for _, u := range []string{"allergyIntolerance", "enteralFormula.baseFormulaProductName", "patient", "text"} {
		if !slices.Contains(d.Unused, u) {
			t.Errorf("%s was not used and is not listed: %v", u, d.Unused)
		}
	}
	if slices.ContainsFunc(d.Unused, func(s string) bool { return strings.Contains(s, "Chalmers") }) {
		t.Error("a name is listed")
	}
}

// The continuous example contradicts itself: 240 + 320 + 400 = 960 mL against a
// limit of 880, reached at 18:12Z; the hold and a second density are in free text.
func TestPublishedContinuousExample(t *testing.T) {
	d, err := ReadOrder("c.json", example(t, "enteralcontinuous"), Options{AcceptUnits: true})
	if err != nil {
		t.Fatal(err)
	}
	if d.Prescription != nil {
		t.Error("a draft was made of an order that contradicts itself")
	}
	text := said(d)
	for _, want := range []string{
		"240 (60 mL/h) + 320 (80 mL/h) + 400 (100 mL/h) = 960 mL", "maxVolumeToDeliver is 880 mL: 80 mL apart", "880 mL are in at 18:12Z",
		"a hold of the feed is in the free text only", "the free text speaks of 1.5 cal/mL, caloricDensity is 1 calories per milliliter",
		"0.001 kcal/mL",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no finding says %q:\n%s", want, text)
		}
	}
}

// Times of a finding stand as the household's clock shows them, with the zone's name.
func TestTimesNameTheirZone(t *testing.T) {
	for zone, want := range map[string]string{"America/Costa_Rica": "12:12-06:00 (America/Costa_Rica)", "": "18:12Z (UTC)"} {
		d, err := ReadOrder("c.json", example(t, "enteralcontinuous"), Options{AcceptUnits: true, TimeZone: zone})
		if err != nil {
			t.Fatal(err)
		}
		if text := said(d); !strings.Contains(text, "880 mL are in at "+want) {
			t.Errorf("no finding says %q:\n%s", want, text)
		}
	}
}

// The infant example goes by mouth; 32 US fluid ounces are 946.353 mL, not 960.
func TestPublishedInfantExample(t *testing.T) {
	d, err := ReadOrder("i.json", example(t, "infantenteral"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	text := said(d)
	if d.Prescription != nil || !strings.Contains(text, "the route is PO, by mouth") || !strings.Contains(text, "32 US fluid ounces are 946.353 mL") || !strings.Contains(text, "960 mL") {
		t.Errorf("%+v\n%s", d.Prescription, text)
	}
}

func TestPublishedDietsHaveNoEnteralPart(t *testing.T) {
	for _, name := range []string{"cardiacdiet", "diabeticdiet", "fiberrestricteddiet", "pureeddiet", "renaldiet", "texture-modified"} {
		d, err := ReadOrder(name, example(t, name), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if d.Prescription != nil || !strings.Contains(said(d), "no enteralFormula") {
			t.Errorf("%s: %s", name, said(d))
		}
	}
}

func TestBundles(t *testing.T) {
	one := string(example(t, "enteralbolus"))
	patient := `{"resource": {"resourceType": "Patient", "active": true}}`
	bundle := func(entries ...string) []byte {
		return []byte(`{"resourceType": "Bundle", "type": "collection", "entry": [` + strings.Join(entries, ", ") + `]}`)
	}
	d, err := ReadOrder("b.json", bundle(patient, `{"resource": `+one+`}`), Options{})
	if err != nil || d.Prescription == nil {
		t.Fatalf("%v %+v", err, d)
	}
	if !slices.Contains(d.Unused, "entry[0]") {
		t.Errorf("the Patient is not listed as unused: %v", d.Unused)
	}
	if _, err := ReadOrder("b.json", bundle(`{"resource": `+one+`}`, `{"resource": `+one+`}`), Options{}); !errors.Is(err, ErrManyOrders) {
		t.Errorf("two orders: %v", err)
	}
	if _, err := ReadOrder("b.json", bundle(patient), Options{}); !errors.Is(err, ErrNoOrder) {
		t.Errorf("no order: %v", err)
	}
	if _, err := ReadOrder("b.json", []byte(`{"resourceType": "Patient"}`), Options{}); !errors.Is(err, ErrNoOrder) {
		t.Errorf("a Patient: %v", err)
	}
}

// What the typed model does not know is still seen.
func TestUnknownFieldsAreListed(t *testing.T) {
	src := strings.Replace(string(example(t, "enteralbolus")), `"status": "active"`, `"status": "active", "holdUntil": "2014-09-18"`, 1)
	d, err := ReadOrder("u.json", []byte(src), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(d.Unused, "holdUntil") {
		t.Errorf("%v", d.Unused)
	}
}

func TestDecisionsThatBlock(t *testing.T) {
	base := string(example(t, "enteralbolus"))
	for _, c := range []struct{ name, from, to, says string }{
		{"not active", `"status": "active"`, `"status": "revoked"`, `status is "revoked"`},
		{"a proposal", `"intent": "order"`, `"intent": "proposal"`, `intent is "proposal"`},
		{"over its limit", `"value": 1440`, `"value": 1200`, "1440 mL a day, but maxVolumeToDeliver is 1200 mL a day: 240 mL apart"},
		{"uneven", `"period": 4`, `"period": 5`, "does not come out even"},
		{"odd unit", `"code": "mL"`, `"code": "[cup_us]"`, "not one that this reader knows"},
		{"unknown route", `"code": "GT"`, `"code": "EFT"`, "does not say which tube"},
	} {
		src := strings.Replace(base, c.from, c.to, 1)
		if src == base {
			t.Fatalf("%s: nothing was changed", c.name)
		}
		d, err := ReadOrder("d.json", []byte(src), Options{})
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if d.Prescription != nil || !strings.Contains(said(d), c.says) {
			t.Errorf("%s: draft %v, findings:\n%s", c.name, d.Prescription != nil, said(d))
		}
	}
}

func FuzzReadOrder(f *testing.F) {
	lim := limits(f)
	f.Add([]byte(`{"resourceType": "NutritionOrder", "status": "active", "intent": "order", "enteralFormula": {"administration": [{"schedule": {"repeat": {"boundsPeriod": {"start": "2014-09-17T16:00:00Z"}, "period": 4, "periodUnit": "h"}}, "quantity": {"value": 240, "code": "mL"}}], "routeofAdministration": {"coding": [{"code": "GT"}]}}}`))
	f.Add([]byte(`{"resourceType": "Bundle", "entry": [{"resource": {"resourceType": "NutritionOrder"}}]}`))
	f.Add([]byte(`[[[[`))
	f.Fuzz(func(t *testing.T, src []byte) {
		d, err := ReadOrder("f.json", src, Options{})
		if err != nil || d.Prescription == nil {
			return
		}
		if _, err := regimen.Compile(d.Prescription, lim); err != nil {
			t.Fatalf("a draft that cannot be compiled: %v", err)
		}
	})
}
