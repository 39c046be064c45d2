package reply

// quant is one number of a text with what it counts.
type quant struct {
	from, to int // tokens
	val      float64
	unit     unit
	role     qrole
	bare     bool // no unit was written
	part     bool // a fraction of a container or of the feed
}

// qrole is what a number is about.
type qrole uint8

const (
	qUnknown qrole = iota
	qGiven
	qFlush
	qMouth
	qLeft
	qTotal
	qDrawn
	qPoured
	qPlanned
	qWrong // corrected away
	qRate
	qClock
	qSpan
	qCount
	qTemp
	qSugar
	qOxygen
	qWeight
	qLength
	qDate
	qDose
	qPercent
	qNone
)

// quantities reads every number of the text, left to right.
func (r *run) quantities() {
	for i := 0; i < len(r.toks); {
		if r.toks[i].quoted(r) {
			i++
			continue
		}
		q, ok := r.quantity(i)
		if !ok {
			i++
			continue
		}
		r.quants = append(r.quants, q)
		i = max(q.to, i+1)
	}
	for k := range r.quants {
		r.kindOf(k)
	}
}

// quantity reads a number with its unit at token i.
func (r *run) quantity(i int) (quant, bool) {
	q := quant{from: i, to: i, unit: noUnit}
	v, to, part, ok := r.amount(i)
	if !ok {
		return r.unitAlone(i)
	}
	q.val, q.to, q.part = v, to, part
	if r.toks[i].kind == number {
		switch r.toks[i].form {
		case clock:
			q.role = qClock
			if r.has(q.to, roleHalfDay) {
				q.to++
			}
			return q, true
		case long:
			q.role = qNone
			return q, true
		}
	}
	r.unitAfter(&q)
	if q.unit == noUnit {
		q.bare = true
	}
	return q, true
}

// unitAfter takes the unit that follows, with what belongs to it: "half a
// carton", "2 cups and a half", "4 syringes of 60", "60 mL/h".
func (r *run) unitAfter(q *quant) {
	j := q.to
	if q.part { // half (of) a carton, half the can
		for k := 0; k < 3 && (r.has(j, roleSkip|roleTotal) || r.num(j) == 1 && r.toks[j].kind == word); k++ {
			j++
		}
		if u := r.unit(j); u.volume() {
			q.unit, q.to = u, j+1
			return
		}
		j = q.to
	}
	if r.isMark(j, '%') {
		q.unit, q.to = unitPercent, j+1
		return
	}
	if r.isMark(j, 'o') {
		q.unit, q.to = unitDegree, j+1
		if u := r.unit(q.to); u == unitF || u == unitC {
			q.unit, q.to = u, q.to+1
		}
		return
	}
	u := r.unit(j)
	if u == noUnit && r.has(j, roleSkip|roleMore) && (r.unit(j + 1).volume()) { // "2 more oz", "5 full syringes"
		j++
		u = r.unit(j)
	}
	if u == noUnit {
		if r.perHour(j) > j {
			q.unit, q.to = unitRate, r.perHour(j)
		}
		return
	}
	q.unit, q.to = u, j+1
	if u == unitDegree {
		if f := r.unit(q.to); f == unitF || f == unitC {
			q.unit, q.to = f, q.to+1
		}
	}
	if h := r.halfAfter(q.to); h > 0 {
		q.val, q.to = q.val+0.5, h
	}
	if k := r.perHour(q.to); k > q.to && (u.volume()) {
		q.unit, q.to = unitRate, k
		return
	}
	if u == unitSyringe || u == unitContainer || u == unitThing || u == unitTimes {
		r.timesOf(q)
	}
}

// timesOf reads "4 syringes of 60 (mL)": a product.
func (r *run) timesOf(q *quant) {
	j := q.to
	if !r.has(j, roleTotal|roleAt) {
		if q.unit != unitSyringe && q.unit != unitTimes {
			return
		}
	} else {
		j++
	}
	v, to, part, ok := r.amount(j)
	if !ok || part || r.toks[j].kind == number && r.toks[j].form != plain && r.toks[j].form != decimal {
		return
	}
	u := r.unit(to)
	if u.volume() && u != unitContainer && u != unitSyringe {
		to++
	} else if u != noUnit {
		return
	} else {
		u = unitML
	}
	q.val, q.unit, q.to = q.val*v, u, to
}

// perHour is the end of "/h", "per hour", "an hour" at j, or j.
func (r *run) perHour(j int) int {
	k := j
	if r.isMark(k, '/') || r.has(k, rolePer) {
		k++
		if u := r.unit(k); u == unitHour || u == unitDay || u == unitMinute {
			return k + 1
		}
		if u := r.unit(k); u == unitKg {
			return k + 1
		}
		return j
	}
	if r.unit(k) == unitRate {
		return k + 1
	}
	return j
}

// halfAfter is the end of "and a half", "y medio" at j, or 0.
func (r *run) halfAfter(j int) int {
	if !r.has(j, roleAnd) {
		return 0
	}
	j++
	for k := 0; k < 2 && r.num(j) != -2 && (r.has(j, roleSkip) || r.num(j) == 1); k++ {
		j++
	}
	if r.num(j) == -2 {
		return j + 1
	}
	return 0
}

// unitAlone reads a unit without a number: "a carton and a half", "the can".
func (r *run) unitAlone(i int) (quant, bool) {
	u := r.unit(i)
	if u != unitContainer && u != unitSyringe {
		return quant{}, false
	}
	q := quant{from: i, to: i + 1, unit: u, val: 1}
	if h := r.halfAfter(i + 1); h > 0 {
		q.val, q.to = 1.5, h
		return q, true
	}
	// "both cartons", "the can", "whole carton"
	if r.has(i-1, roleBoth) {
		q.val, q.from = 2, i-1
		return q, true
	}
	if q.from > 0 && r.has(i-1, roleMore) {
		q.from--
		return q, true
	}
	return quant{}, false
}

// num classes token i as part of a number: its value, -1 where it has none,
// -2 for "half".
func (r *run) num(i int) float64 {
	if i < 0 || i >= len(r.toks) {
		return -1
	}
	t := &r.toks[i]
	if t.kind != word || t.id < 0 {
		return -1
	}
	in := &r.l.info[t.id]
	switch {
	case in.num == 0:
		return -1
	case in.den == 2 && in.num == 1:
		return -2
	case in.den != 0:
		return -1
	}
	return in.num
}

// amount reads a number in digits or words from token i.
func (r *run) amount(i int) (val float64, to int, part, ok bool) {
	if i >= len(r.toks) {
		return 0, i, false, false
	}
	t := &r.toks[i]
	if t.kind == number {
		val, to = t.val, i+1
		if t.form == fraction {
			if t.den > t.val && (t.den <= 5 || t.den == 8 || t.den == 10) {
				return t.val / t.den, to, true, true
			}
			return t.val, to, false, true
		}
		if to < len(r.toks) && r.toks[to].kind == number && r.toks[to].form == fraction && r.toks[to].val < r.toks[to].den && r.toks[to].den <= 8 {
			return val + r.toks[to].val/r.toks[to].den, to + 1, false, true
		}
		if h := r.halfAfter(to); h > 0 && t.form == plain {
			return val + 0.5, h, false, true
		}
		// "2 hundred"
		if n := r.num(to); n == 100 && val < 10 {
			return val * 100, to + 1, false, true
		}
		return val, to, false, true
	}
	if t.kind != word || t.id < 0 {
		return 0, i, false, false
	}
	in := &r.l.info[t.id]
	if in.num == 0 {
		return 0, i, false, false
	}
	if in.den != 0 {
		// "three quarters" comes below; here "half", "a third"
		return in.num / in.den, i + 1, true, true
	}
	return r.numberWords(i)
}

// numberWords reads number words: "two hundred and forty", "two forty",
// "ciento veinte", "treinta y cinco", "one and a half", "three quarters".
func (r *run) numberWords(i int) (val float64, to int, part, ok bool) {
	j, cur := i, 0.0
	weak := r.has(i, roleSkip) // "a", "un": one only before a unit, a fraction or a hundred
	for j < len(r.toks) {
		n := r.num(j)
		k := j
		if n < 0 && j > i && r.has(j, roleAnd) && r.num(j+1) > 0 && (cur >= 100 || cur >= 20 && int(cur)%10 == 0 && r.num(j+1) < 10) && !r.has(j+1, roleSkip) {
			k, n = j+1, r.num(j+1)
		}
		if n <= 0 || k > i && r.has(k, roleSkip) {
			break
		}
		switch {
		case n == 100:
			cur = max(cur, 1) * 100
		case n == 1000:
			cur = max(cur, 1) * 1000
		case cur == 0:
			cur = n
		case cur >= 1000 && n < 1000, cur >= 100 && int(cur)%100 == 0 && n < 100, cur >= 100 && int(cur)%10 == 0 && int(cur)%100 >= 20 && n < 10:
			cur += n
		case cur >= 20 && cur < 100 && int(cur)%10 == 0 && n < 10:
			cur += n
		case cur < 10 && n >= 10 && n < 100 && !weak:
			cur = cur*100 + n
		default:
			n = 0
		}
		if n == 0 {
			break
		}
		j = k + 1
	}
	if cur == 0 {
		return 0, i, false, false
	}
	if h := r.halfAfter(j); h > 0 {
		return cur + 0.5, h, false, true
	}
	if j < len(r.toks) && r.toks[j].kind == word && r.toks[j].id >= 0 && r.l.info[r.toks[j].id].den > 0 && cur < 10 {
		in := &r.l.info[r.toks[j].id]
		return cur * in.num / in.den, j + 1, true, true
	}
	if weak && j == i+1 && !r.unitFollows(j) {
		return 0, i, false, false
	}
	return cur, j, false, true
}

func (r *run) unitFollows(j int) bool {
	u := r.unit(j)
	return u != noUnit && u != unitThing && u != unitTimes || r.has(j, roleSkip|roleMore) && (r.unit(j+1).volume())
}

// kindOf tells what a number that is no volume is: a rate, a clock time, a
// span, a count, a temperature, a sugar, an oxygen level, a weight, a date.
func (r *run) kindOf(k int) {
	q := &r.quants[k]
	if q.role != qUnknown {
		return
	}
	switch u := q.unit; {
	case u.volume():
		return
	case u == unitRate:
		q.role = qRate
		return
	case u.span():
		q.role = qSpan
		if r.has(q.to, roleHalfDay) { // "7 de la mañana", "8 hrs in the morning"
			q.to++
		}
		return
	case u == unitKg || u == unitPound || u == unitGram:
		q.role = qWeight
		return
	case u == unitInch || u == unitCm || u == unitFrench:
		q.role = qLength
		return
	case u == unitMg:
		q.role = qDose
		return
	case u == unitF || u == unitC || u == unitDegree:
		q.role = qTemp
		return
	case u == unitTimes || u == unitThing:
		q.role = qCount
		return
	case u == unitPercent:
		q.role = qPercent
		if r.near(q, 5, 3, roleOxygen) {
			q.role = qOxygen
		}
		return
	}
	r.kindOfBare(q)
}

func (r *run) kindOfBare(q *quant) {
	v := q.val
	t := &r.toks[q.from]
	dec := t.kind == number && t.form == decimal || q.to-q.from > 2 && v != float64(int(v))
	switch {
	case t.kind == number && t.id >= 0: // a number that the lists hold as a word: "911"
		q.role = qNone
	case r.has(q.to, roleHalfDay) && (v <= 24 || hhmm(t)):
		q.role = qClock
		q.to++
	case r.has(q.from-1, roleTimesWord|roleX) || r.has(q.to, roleTimesWord) || r.has(q.to, roleX) && !r.digitAfter(q.to+1) && v < 40 || r.isMark(q.from-1, '#') || r.isMark(q.from-1, 'x') && !r.isNumber(q.from-2):
		q.role = qCount
	case r.has(q.from-1, roleLong):
		q.role = qNone
	case r.near(q, 5, 3, roleOxygen) && v >= 50 && v <= 100:
		q.role = qOxygen
	case r.near(q, 5, 3, roleSugar) && v >= 1.5 && v <= 900:
		q.role = qSugar
	case tempLike(v) && (r.near(q, 6, 3, roleTemp) || dec && !r.near(q, 2, 1, roleGave|roleWeight)):
		q.role = qTemp
	case r.near(q, 3, 1, roleWeight):
		q.role = qWeight
	case r.near(q, 2, 2, roleRate):
		q.role = qRate
	case r.has(q.from-1, roleAt) && v <= 24 && v == float64(int(v)) && !r.has(q.to, roleTotal):
		q.role = qClock
	case r.has(q.from-1, roleAt) && hhmm(t):
		q.role = qClock
	case r.has(q.from-1, roleDate) || r.has(q.to, roleDate):
		q.role = qDate
	}
}

func (r *run) digitAfter(i int) bool { return r.isNumber(i) }

func (r *run) isNumber(i int) bool {
	return i >= 0 && i < len(r.toks) && r.toks[i].kind == number
}

// hhmm tells whether four digits can be a clock time ("0700", "1130").
func hhmm(t *token) bool {
	return t.kind == number && t.form == plain && t.end-t.start == 4 && int(t.val)/100 <= 24 && int(t.val)%100 < 60
}

// tempLike tells whether v can be a body temperature, in degrees C or F.
func tempLike(v float64) bool { return v >= 34 && v <= 43 || v >= 93 && v <= 109 }

// near tells whether a word of the role stands within before tokens to the left
// of q or after to its right, in the same sentence.
func (r *run) near(q *quant, before, after int, role uint64) bool {
	for i, n := q.from-1, 0; i >= 0 && n < before; i, n = i-1, n+1 {
		if r.toks[i].kind == stop {
			break
		}
		if r.has(i, role) {
			return true
		}
	}
	for i, n := q.to, 0; i < len(r.toks) && n < after; i, n = i+1, n+1 {
		if r.toks[i].kind == stop {
			break
		}
		if r.has(i, role) {
			return true
		}
	}
	return false
}
