package reply

// Roles are classes of words that the stages ask for by name. A language that
// lists no such class simply never has the role.
const (
	roleSkip     uint64 = 1 << iota // may stand between the elements of any phrase
	roleContrast                    // "but": ends every scope
	roleFinite                      // "is", "has": starts a new statement after a comma
	rolePatient                     // the person fed: "he", "my daughter"
	roleSelf                        // the writer: "I", "me"
	roleOther                       // anyone else: "his brother", "the dog"
	roleAnd
	roleOr
	roleQuestion  // "what", "should": begins a question
	roleWater     // what a flush is made of
	roleMouth     // "drank", "by mouth"
	roleTube      // "by tube"
	roleGave      // "gave", "got", "in"
	roleLeft      // "left", "remaining"
	roleBut       // "all but", "except"
	roleTotal     // "out of", "of"
	roleCorrect   // "sorry", "meant"
	roleNot       // "not 420"
	roleMore      // "more", "another"
	rolePlan      // "supposed to get", "should"
	roleFuture    // "will", "going to"
	roleDrawn     // residual, vented, spilled: out of the person or the bag
	roleEach      // "each", "before and after"
	rolePer       // "per", "an hour"
	roleAt        // "at", "since": a clock time follows
	roleHalfDay   // "am", "pm", "o'clock"
	roleIn        // "in", "for": a span follows
	roleTemp      // "temp", "fever"
	roleSugar     // "sugar", "glucose"
	roleOxygen    // "spo2", "sats"
	roleWeight    // "weighs"
	roleDate      // months, days, "the" before a date
	rolePrior     // "last night", "yesterday": an earlier feed
	rolePoured    // "hung", "poured": in the bag, not in the person
	roleOnly      // "only": short on purpose of telling
	roleApprox    // "about", "like"
	roleBoth      // "both"
	roleHalf      // "half" said alone
	roleLong      // names of years, rooms, buses: the number is none of ours
	roleTimesWord // "times", "veces"
	roleOnce      // "once", "twice" as counts
	roleGreet     // sounds and courtesies that a bare answer may carry
	roleMine      // "my", "su": binds to the noun after it
	roleGerund    // joins like "and" in lists: "or", "nor", "ni"
	roleMild
	roleSevere
	roleSpill // leaves the body or the bag: follows a symptom's volume
	roleX     // times sign: "x"
	roleName  // given names
	roleRate  // "rate", "speed"
	roleTubeNoun
	roleWorry
	roleDay    // "today", "this morning": within the last day
	roleFormer // "last week", "ago"
	roleSaying // "said", "noticed": what follows is not the sayer's
	roleWith   // "with"
	roleSum    // "total", "in all"
	roleWhole  // "whole", "entire"
	rolePM     // "pm"
	roleElder  // of others, those who may themselves be the person fed
	roleClause // "because", "when", "so": starts a new statement
	roleRound  // "before", "after": on either side of a feed
	roleFeed   // "formula", "feed"
)

// roleNames are the classes in the order of the bits above.
var roleNames = []string{
	"skip", "contrast", "finite", "patient", "self", "other_person", "and", "or", "question_word", "water", "mouth",
	"by_tube", "gave", "left", "all_but", "total", "correct", "not", "more", "plan", "future", "drawn", "each", "per", "at",
	"half_day", "span", "temperature", "sugar", "oxygen", "weight", "date", "prior", "poured", "only", "approx", "both", "half",
	"no_volume", "times", "count", "greet", "possessive", "list_join", "mild", "severe", "spill", "times_sign", "given_name", "rate",
	"tube", "worry", "today", "former", "saying", "with", "sum", "whole", "pm", "elder", "clause", "around_feed", "feed_word",
}

// unit is what a number counts.
type unit uint8

const (
	noUnit unit = iota
	unitML
	unitLitre
	unitOz
	unitCup
	unitTsp
	unitTbsp
	unitContainer
	unitSyringe
	unitHour
	unitMinute
	unitSecond
	unitDay
	unitWeek
	unitMonth
	unitYear
	unitKg
	unitGram
	unitPound
	unitInch
	unitCm
	unitDegree
	unitF
	unitC
	unitPercent
	unitTimes
	unitRate // "mlh" written as one word
	unitMg
	unitThing // diapers, stools, steps: counted, not poured
	unitFrench
)

var unitNames = map[string]unit{
	"ml": unitML, "litre": unitLitre, "oz": unitOz, "cup": unitCup, "tsp": unitTsp, "tbsp": unitTbsp,
	"container": unitContainer, "syringe": unitSyringe, "hour": unitHour, "minute": unitMinute, "second": unitSecond,
	"day": unitDay, "week": unitWeek, "month": unitMonth, "year": unitYear, "kg": unitKg, "gram": unitGram, "pound": unitPound,
	"inch": unitInch, "cm": unitCm, "degree": unitDegree, "fahrenheit": unitF, "celsius": unitC, "percent": unitPercent,
	"times": unitTimes, "rate": unitRate, "mg": unitMg, "thing": unitThing, "french": unitFrench,
}

func (u unit) volume() bool { return u >= unitML && u <= unitSyringe }
func (u unit) span() bool   { return u >= unitHour && u <= unitYear }
