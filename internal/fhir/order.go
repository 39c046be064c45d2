package fhir

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/big"
	"regexp"
	"strings"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// Options are what a person adds to an order that cannot say it.
type Options struct {
	TimeZone    string // the household's; an order names none
	AcceptUnits bool   // a person confirmed the energy density as it is displayed
	Limits      *regimen.Limits
}

// Finding is one thing that a person must decide before the regimen may run.
type Finding struct {
	File string
	Line int
	Path string
	Text string
	// Blocks: no schedule can be drawn from the order as it stands.
	Blocks bool
}

// String returns "file:line: path: text".
func (f Finding) String() string { return fmt.Sprintf("%s:%d: %s: %s", f.File, f.Line, f.Path, f.Text) }

// Draft is what could be read of an order.
type Draft struct {
	// Prescription is a draft that nobody has confirmed; nil where a finding blocks it.
	Prescription *regimen.Prescription
	Starts       journal.Day // the feed day of the first administration
	Findings     []Finding
	Unused       []string // paths that the reader did not use
}

// Errors of ReadOrder.
var (
	// ErrNoOrder: the file holds no NutritionOrder.
	ErrNoOrder = errors.New("no NutritionOrder in it; a NutritionOrder, or a Bundle with one")
	// ErrManyOrders: a Bundle holds several, and choosing is a person's business.
	ErrManyOrders = errors.New("the Bundle holds several NutritionOrders; one")
)

// ReadOrder reads a NutritionOrder or a Bundle that holds exactly one. It fails
// on what is no such resource; what an order says wrongly or not at all is a
// finding, not an error.
func ReadOrder(file string, src []byte, opt Options) (*Draft, error) {
	ix, err := indexPaths(src)
	if err != nil {
		return nil, fmt.Errorf("%s: not valid JSON: %w", file, err)
	}
	res, at, err := findOrder(src)
	if err != nil {
		return nil, fmt.Errorf("%s:1: %w", file, err)
	}
	o, err := r4.UnmarshalNutritionOrder(res)
	if err != nil {
		return nil, fmt.Errorf("%s: not a NutritionOrder of FHIR R4: %w", file, err)
	}
	r := &reader{file: file, ix: ix, at: at, opt: opt, o: &o, d: &Draft{}}
	r.read()
	r.d.Unused = ix.unused()
	return r.d, nil
}

// findOrder returns the order's JSON and the path at which it stands.
func findOrder(src []byte) (res json.RawMessage, at string, err error) {
	var top struct {
		ResourceType string `json:"resourceType"`
		Entry        []struct {
			Resource json.RawMessage `json:"resource"`
		} `json:"entry"`
	}
	if err := json.Unmarshal(src, &top); err != nil {
		return nil, "", err
	}
	switch top.ResourceType {
	case "NutritionOrder":
		return src, "", nil
	case "Bundle":
	default:
		return nil, "", fmt.Errorf("resourceType %q: %w", top.ResourceType, ErrNoOrder)
	}
	n := 0
	for i, e := range top.Entry {
		var t struct {
			ResourceType string `json:"resourceType"`
		}
		if json.Unmarshal(e.Resource, &t) == nil && t.ResourceType == "NutritionOrder" {
			res, at = e.Resource, fmt.Sprintf("entry[%d].resource.", i)
			n++
		}
	}
	switch n {
	case 0:
		return nil, "", ErrNoOrder
	case 1:
		return res, at, nil
	}
	return nil, "", fmt.Errorf("%d of them: %w", n, ErrManyOrders)
}

type reader struct {
	file string
	ix   *paths
	at   string // prefix of the order's paths
	opt  Options
	o    *r4.NutritionOrder
	d    *Draft
	p    regimen.Prescription
	zone *time.Location
}

// find records a finding at a path of the order.
func (r *reader) find(path string, blocks bool, format string, args ...any) {
	full := r.at + path
	line := 1
	for p := full; p != ""; {
		if l, ok := r.ix.line[p]; ok {
			line = l
			break
		}
		p = p[:max(strings.LastIndexAny(p, ".["), 0)]
	}
	r.d.Findings = append(r.d.Findings, Finding{File: r.file, Line: line, Path: full, Text: fmt.Sprintf(format, args...), Blocks: blocks})
}

func (r *reader) use(path string) { r.ix.use(r.at + path) }

func (r *reader) read() {
	for _, p := range []string{"resourceType", "id", "status", "intent"} {
		r.use(p)
	}
	if r.at != "" {
		r.ix.use("resourceType")
	}
	if s := r.o.Status.Code(); s != "active" {
		r.find("status", true, "the order's status is %q; only an active order is planned", s)
	}
	if s := r.o.Intent.Code(); s != "order" {
		r.find("intent", true, "the order's intent is %q; only an order is planned, no proposal or plan", s)
	}
	ef := r.o.EnteralFormula
	if ef == nil {
		what := "a diet or supplement by mouth"
		if r.o.OralDiet != nil {
			what = "an oral diet"
		}
		r.find("", true, "the order has no enteralFormula, only %s: nothing of it goes through a tube", what)
		return
	}
	r.p = regimen.Prescription{Household: household(r.o.Id), Languages: []string{"en"}}
	r.readZone()
	r.readRoute(ef)
	r.readFormula(ef)
	r.readAdministrations(ef)
	r.readInstruction(ef)
	r.find("enteralFormula", false, "the order has no field for flushes, hang time, bag change, protein, water and weight: they are to be added from the prescriber's orders")
	for _, f := range r.d.Findings {
		if f.Blocks {
			return
		}
	}
	r.d.Prescription = &r.p
}

var notCode = regexp.MustCompile(`[^a-z0-9]+`)

func household(id *string) string {
	if id == nil {
		return "order"
	}
	s := strings.Trim(notCode.ReplaceAllString(strings.ToLower(*id), "-"), "-")
	if s == "" {
		return "order"
	}
	return "order-" + s[:min(len(s), 30)]
}

func (r *reader) readZone() {
	r.zone = time.UTC
	if r.opt.TimeZone == "" {
		r.find("", false, "an order names no time zone: its instants are read in UTC until the household's zone is given")
	} else if loc, err := time.LoadLocation(r.opt.TimeZone); err != nil {
		r.find("", true, "%q is not a time zone; an IANA name such as America/Chicago", r.opt.TimeZone)
	} else {
		r.zone = loc
	}
	r.p.TimeZone = r.zone.String()
}

// routes are the codes of the standard's enteral-route value set that name a
// tube; EFT, ENTINSTL and the others say no more than "enteral".
var routes = map[string]regimen.TubeKind{
	"GT": regimen.Gastrostomy, "NGT": regimen.Nasogastric, "GJT": regimen.Gastrojejunostomy, "JJTINSTL": regimen.Jejunostomy,
}

func (r *reader) readRoute(ef *r4.NutritionOrderEnteralFormula) {
	const path = "enteralFormula.routeofAdministration"
	if ef.RouteofAdministration == nil {
		r.find("enteralFormula", true, "no route of administration; the kind of tube")
		return
	}
	for i, c := range ef.RouteofAdministration.Coding {
		if c.Code == nil {
			continue
		}
		at := fmt.Sprintf("%s.coding[%d].code", path, i)
		r.use(at)
		if *c.Code == "PO" {
			r.find(at, true, "the route is PO, by mouth: this is no tube feeding")
			return
		}
		if k, ok := routes[*c.Code]; ok {
			r.p.Tube.Kind = k
			return
		}
		r.find(at, true, "the route %q does not say which tube; GT, NGT, GJT or JJTINSTL", *c.Code)
		return
	}
	r.find(path, true, "the route has no code")
}

func (r *reader) readFormula(ef *r4.NutritionOrderEnteralFormula) {
	f := &r.p.Formula
	f.System, f.Prepared = regimen.OpenSystem, regimen.ReadyToFeed
	if ef.AdditiveType != nil || ef.AdditiveProductName != nil {
		f.Prepared = regimen.WithAdditives
		r.use("enteralFormula.additiveType")
		r.find("enteralFormula.additiveType", false, "an additive is ordered, without its amount: the formula is counted as one with additives (shorter hang time), its composition is to be confirmed")
	}
	const path = "enteralFormula.caloricDensity"
	q := ef.CaloricDensity
	if q == nil || q.Value == nil {
		r.find("enteralFormula", false, "no caloric density: energy cannot be counted")
		return
	}
	for _, s := range []string{".value", ".unit", ".code", ".system"} {
		r.use(path + s)
	}
	v, ok := rat(*q.Value)
	if !ok {
		r.find(path, true, "%q is not a number", q.Value.String())
		return
	}
	code := str(q.Code)
	switch code {
	case "kcal/mL":
		f.EnergyKcalPerML = milli(v)
		return
	case "cal/mL":
		strict := new(big.Rat).Quo(v, big.NewRat(1000, 1))
		r.find(path, false, "the density is %s with the code cal/mL, which in UCUM is %s kcal/mL, a thousandth of the %s kcal/mL that the words %q mean: a person must confirm it",
			q.Value, decimal(strict, 6), q.Value, str(q.Unit))
	case "cal/[foz_us]":
		v = new(big.Rat).Quo(v, ounce)
		r.find(path, false, "the density is %s cal per US fluid ounce: %s kcal/mL if kcal is meant, a thousandth of that by the UCUM code: a person must confirm it",
			q.Value, decimal(v, 3))
	default:
		r.find(path, false, "the unit %q of the density is not one that this reader knows; kcal/mL", code)
		return
	}
	if r.opt.AcceptUnits {
		f.EnergyKcalPerML = milli(v)
	}
}

// ounce is a US fluid ounce in mL, exact: 1/128 of a gallon of 231 cubic inches
// (NIST SP 811, appendix B, from memory; UCUM [foz_us] is the same unit).
var ounce = big.NewRat(295735295625, 10000000000)

func rat(n json.Number) (*big.Rat, bool) {
	if len(n) > 20 || strings.ContainsAny(n.String(), "eE") {
		return nil, false
	}
	return new(big.Rat).SetString(n.String())
}

// milli rounds to thousandths, half up.
func milli(v *big.Rat) regimen.Milli {
	x := new(big.Rat).Add(new(big.Rat).Mul(v, big.NewRat(1000, 1)), big.NewRat(1, 2))
	return regimen.Milli(new(big.Int).Div(x.Num(), x.Denom()).Int64())
}

// decimal writes v with at most that many places.
func decimal(v *big.Rat, places int) string {
	return strings.TrimSuffix(strings.TrimRight(v.FloatString(places), "0"), ".")
}

func str(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// volume returns a quantity in mL, or mL/h; per is the time that its unit must
// be over, "" for none. A limit without a time is a day's.
func (r *reader) volume(q *r4.Quantity, path, per string) (*big.Rat, bool) {
	if q == nil || q.Value == nil {
		return nil, false
	}
	for _, s := range []string{".value", ".unit", ".code", ".system"} {
		r.use(path + s)
	}
	v, ok := rat(*q.Value)
	if !ok || v.Sign() <= 0 {
		r.find(path, true, "%q is not a volume", q.Value.String())
		return nil, false
	}
	unit, over, _ := strings.Cut(str(q.Code), "/")
	if over != per && !(per == "d" && over == "") {
		r.find(path, true, "the unit %q is not one that belongs here; mL%s", str(q.Code), strings.TrimSuffix("/"+per, "/"))
		return nil, false
	}
	switch unit {
	case "mL":
		return v, true
	case "L":
		return v.Mul(v, big.NewRat(1000, 1)), true
	case "[foz_us]":
		ml := new(big.Rat).Mul(v, ounce)
		r.find(path, false, "%s US fluid ounces are %s mL (29.5735 mL each); by the 30 mL of nutrition labels they would be %s mL", q.Value, decimal(ml, 3),
			decimal(new(big.Rat).Mul(v, big.NewRat(30, 1)), 3))
		return ml, true
	}
	r.find(path, true, "the unit %q is not one that this reader knows; mL", str(q.Code))
	return nil, false
}
