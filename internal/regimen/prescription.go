package regimen

import (
	"hearthline/internal/journal"
)

// Prescription is one regimen file as it was written: what a prescriber ordered
// for one household. It is data only; [Compile] makes it computable. Its JSON
// form has the file's field names and round-trips exactly.
type Prescription struct {
	Household  string       `json:"household"`
	TimeZone   string       `json:"time_zone"`
	Languages  []string     `json:"languages"`
	WeightKg   Milli        `json:"weight_kg,omitempty"`
	WeightOn   journal.Day  `json:"weight_on,omitempty"`
	BirthMonth string       `json:"birth_month,omitempty"` // "2021-03"; its last day counts
	Tube       Tube         `json:"tube"`
	Formula    FormulaOrder `json:"formula"`
	// FeedDayStarts is the time of day at which volumes begin to be added up
	// anew; no feed crosses it.
	FeedDayStarts Clock       `json:"feed_day_starts"`
	Feeds         []FeedOrder `json:"feeds"`
	Flush         FlushOrder  `json:"flush,omitzero"`
	Bag           BagOrder    `json:"bag,omitzero"`
	Targets       Targets     `json:"targets,omitzero"`
	// LongestGapH is the prescribed longest time without feed, in thousandths
	// of an hour; 0 where none was prescribed.
	LongestGapH Milli `json:"longest_gap_h,omitempty"`
	// IfFeedStops is the key of the household's signed text for that case.
	IfFeedStops    string          `json:"if_feed_stops,omitempty"`
	SugarLowering  bool            `json:"sugar_lowering,omitempty"`
	MustEndBy      *Clock          `json:"must_end_by,omitempty"`
	PlacementCheck *PlacementCheck `json:"placement_check,omitempty"`
	OtherLines     []string        `json:"other_lines,omitempty"`
	ByMouthFirst   bool            `json:"by_mouth_first,omitempty"`
	GoTo           *GoTo           `json:"go_to,omitempty"`
	NurseMay       *NurseMay       `json:"nurse_may,omitempty"`
	Prompts        PromptOrder     `json:"prompts,omitzero"`
	Advance        *Advance        `json:"advance,omitempty"`
}

// TubeKind is where the tube goes in and where it ends.
type TubeKind string

// The kinds of tube that a regimen file may name.
const (
	Gastrostomy       TubeKind = "gastrostomy"
	LowProfile        TubeKind = "low_profile"
	Nasogastric       TubeKind = "nasogastric"
	Nasojejunal       TubeKind = "nasojejunal"
	Jejunostomy       TubeKind = "jejunostomy"
	Gastrojejunostomy TubeKind = "gastrojejunostomy"
)

// Nasal reports whether the tube goes in through the nose.
func (k TubeKind) Nasal() bool { return k == Nasogastric || k == Nasojejunal }

// Tube describes the tube in use.
type Tube struct {
	Kind            TubeKind    `json:"kind"`
	Placed          journal.Day `json:"placed,omitempty"` // empty: not known
	SizeFr          Milli       `json:"size_fr,omitempty"`
	MarkCM          Milli       `json:"mark_cm,omitempty"`
	TaughtToReplace bool        `json:"taught_to_replace,omitempty"`
}

// System says whether formula is poured into a bag (open) or hangs ready in its container (closed).
type System string

// The two systems.
const (
	OpenSystem   System = "open"
	ClosedSystem System = "closed"
)

// Prepared says how the formula comes to be what hangs.
type Prepared string

// The preparations that a regimen file may name.
const (
	ReadyToFeed   Prepared = "ready_to_feed"
	Powder        Prepared = "powder"
	WithAdditives Prepared = "with_additives"
	Blenderized   Prepared = "blenderized"
	HumanMilk     Prepared = "human_milk"
)

// FormulaOrder is the formula as its label gives it.
type FormulaOrder struct {
	EnergyKcalPerML Milli      `json:"energy_kcal_per_ml"`
	ProteinGPerL    Milli      `json:"protein_g_per_l"`
	WaterFraction   Milli      `json:"water_fraction"`
	ContainerML     journal.ML `json:"container_ml,omitempty"` // 0: containers are not counted
	System          System     `json:"system"`
	Prepared        Prepared   `json:"prepared"`
	// HangH overrides the hang limit of limits.yaml where the label or the
	// prescriber gives another, in thousandths of an hour; 0 where none does.
	HangH Milli `json:"hang_h,omitempty"`
	// KeepH is how long an opened container may be kept refrigerated, where the
	// label gives another limit than limits.yaml; 0 where it does not.
	KeepH Milli `json:"keep_h,omitempty"`
}

// closed reports whether containers of a known size are hung as they are, one
// after another, in place of a bag that is filled.
func (p *Prescription) closed() bool {
	return p.Formula.System == ClosedSystem && p.Formula.ContainerML > 0
}

// Composition is what a millilitre of the formula holds, in exact thousandths.
type Composition struct {
	EnergyKcalPerML Milli      `json:"energy_kcal_per_ml"`
	ProteinGPerL    Milli      `json:"protein_g_per_l"`
	WaterFraction   Milli      `json:"water_fraction"`
	ContainerML     journal.ML `json:"container_ml,omitempty"`
}

// EnergyMilliKcal returns the energy of ml in thousandths of a kcal.
func (c Composition) EnergyMilliKcal(ml journal.ML) int64 {
	return int64(ml) * int64(c.EnergyKcalPerML)
}

// ProteinMicroG returns the protein of ml in millionths of a gram.
func (c Composition) ProteinMicroG(ml journal.ML) int64 { return int64(ml) * int64(c.ProteinGPerL) }

// WaterMicroL returns the free water of ml in thousandths of a mL.
func (c Composition) WaterMicroL(ml journal.ML) int64 { return int64(ml) * int64(c.WaterFraction) }

// FeedBy is what drives a feed.
type FeedBy string

// The ways in which a feed is given; the zero value is a pump.
const (
	ByPump    FeedBy = "pump"
	ByGravity FeedBy = "gravity"
	BySyringe FeedBy = "syringe"
)

// FeedKind is how the trade calls a feed; where the file gives none it follows from the hours.
type FeedKind string

// The kinds of feed.
const (
	Continuous   FeedKind = "continuous"
	Cyclic       FeedKind = "cyclic"
	Intermittent FeedKind = "intermittent"
	Bolus        FeedKind = "bolus"
)

// Port is the opening of a two-port tube that a feed or flush goes into.
type Port string

// The two ports of a gastrojejunal tube.
const (
	GastricPort Port = "gastric"
	JejunalPort Port = "jejunal"
)

// FeedOrder is one feed of the file. Of VolumeML, RateMLPerH and Hours two were
// given; the third is worked out and kept with them (RateMLPerH rounded to
// thousandths where volume and hours do not divide).
type FeedOrder struct {
	Name       string     `json:"name"`
	Starts     []Clock    `json:"starts"`
	VolumeML   journal.ML `json:"volume_ml"`
	RateMLPerH Milli      `json:"rate_ml_per_h"`
	Hours      Milli      `json:"hours"`
	Given      [2]string  `json:"given"` // the two fields that the file gave
	Days       Weekdays   `json:"days,omitempty"`
	Kind       FeedKind   `json:"kind"`
	By         FeedBy     `json:"by"`
	Port       Port       `json:"port,omitempty"`
	MustEndBy  *Clock     `json:"must_end_by,omitempty"`
	// Wake: nil prompts for a start in quiet hours only; true for everything of
	// this feed that falls due then; false for nothing until quiet hours end.
	Wake *bool `json:"wake,omitempty"`
}

// FlushOrder is the water that goes through the tube beside the formula.
type FlushOrder struct {
	BeforeML     journal.ML   `json:"before_ml,omitempty"`
	AfterML      journal.ML   `json:"after_ml,omitempty"`
	EveryH       Milli        `json:"every_h,omitempty"`
	EveryML      journal.ML   `json:"every_ml,omitempty"` // volume of the flush every EveryH
	Medication   []Medication `json:"medication,omitempty"`
	MedicationML journal.ML   `json:"medication_ml,omitempty"`
	Ports        []PortFlush  `json:"ports,omitempty"`
}

// Medication is a time at which medicines are given, by number, never by name.
type Medication struct {
	At        Clock `json:"at"`
	Medicines int   `json:"medicines"`
}

// PortFlush is a flush of one port that belongs to no feed.
type PortFlush struct {
	Port Port       `json:"port"`
	ML   journal.ML `json:"ml"`
	At   []Clock    `json:"at"`
}

// BagOrder is about the feeding bag and its set.
type BagOrder struct {
	ChangeEveryH Milli      `json:"change_every_h,omitempty"`
	CapacityML   journal.ML `json:"capacity_ml,omitempty"`
}

// Targets is what a day should reach; 0 where none was set.
type Targets struct {
	EnergyKcal Milli      `json:"energy_kcal,omitempty"`
	ProteinG   Milli      `json:"protein_g,omitempty"`
	WaterML    journal.ML `json:"water_ml,omitempty"`
}

// PlacementCheck is what is looked at before each use of a nasal tube.
type PlacementCheck struct {
	MarkCM Milli `json:"mark_cm,omitempty"`
	PHMax  Milli `json:"ph_max,omitempty"`
}

// GoTo is where a lost tube is replaced.
type GoTo struct {
	Place     string          `json:"place"`
	TravelMin journal.Minutes `json:"travel_min,omitempty"`
}

// NurseMay bounds what a nurse may change on her own for today.
type NurseMay struct {
	RateMLPerH *[2]Milli `json:"rate_ml_per_h,omitempty"`
	Hold       bool      `json:"hold,omitempty"`
}

// Level is how much is asked of a family.
type Level string

// The three levels; the zero value is the one of limits.yaml.
const (
	EachStep Level = "each_step"
	EachFeed Level = "each_feed"
	Evening  Level = "evening"
)

// PromptOrder is how a household is prompted. Zero fields take the defaults of limits.yaml.
type PromptOrder struct {
	Level     Level           `json:"level,omitempty"`
	PerDay    int             `json:"per_day,omitempty"`
	MergeMin  journal.Minutes `json:"merge_min,omitempty"`
	Quiet     *Quiet          `json:"quiet,omitempty"`
	Wake      *bool           `json:"wake,omitempty"` // the default of every feed's wake
	CheckinAt *Clock          `json:"checkin_at,omitempty"`
}

// Quiet is the span of a day in which a family is not to be woken; it may cross
// midnight. From = Until means none.
type Quiet struct {
	From  Clock `json:"from"`
	Until Clock `json:"until"`
}

// Advance is a feed that is stepped up to a goal; each step waits for a nurse's release.
type Advance struct {
	Feed   string `json:"feed"`
	What   string `json:"what"` // "rate_ml_per_h" or "volume_ml"
	Step   Milli  `json:"step"`
	EveryH Milli  `json:"every_h"`
	Goal   Milli  `json:"goal"`
}
