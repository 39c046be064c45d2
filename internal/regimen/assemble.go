package regimen

import (
	"time"

	"hearthline/internal/journal"
)

// near reports whether two groups of neighbouring units are one text. The later
// one's acts go out with the earlier one, but never at or before the first
// instant of the order that wants them: whoever asks from then on would not
// find them.
func near(us []unit, u, g, v, h int) bool {
	a, b := us[u].group[g].at, us[v].group[h].at
	from := us[v].f.o.from
	if b < a {
		a, b, from = b, a, us[u].f.o.from
	}
	m := min(us[u].f.o.merge, us[v].f.o.merge)
	return b-a < m && (a == b || a > from)
}

// mergedAt returns when the text that holds group g of unit u goes out: the
// earliest of the groups of neighbouring units that it is one with.
func mergedAt(us []unit, u, g int) int64 {
	at := us[u].group[g].at
	for v := max(u-1, 0); v < len(us) && v <= u+1; v++ {
		if v == u {
			continue
		}
		for h := range us[v].group {
			if near(us, u, g, v, h) {
				at = min(at, us[v].group[h].at)
			}
		}
	}
	return at
}

// prompt puts a text's acts together.
func (p *Plan) prompt(us []unit, u, g int, a *Actual) Prompt {
	o := us[u].f.o
	pr := Prompt{At: time.Unix(mergedAt(us, u, g), 0).In(o.loc)}
	var parts [6]struct{ u, g int }
	n, total := 0, 0
	for v := max(u-1, 0); v < len(us) && v <= u+1; v++ {
		for h := range us[v].group {
			if (v == u && h == g) || (v != u && near(us, u, g, v, h)) {
				if n < len(parts) {
					parts[n].u, parts[n].g = v, h
					n++
					total += int(us[v].group[h].hi - us[v].group[h].lo)
				}
			}
		}
	}
	pr.Acts = make([]Act, 0, total)
	for _, pt := range parts[:n] {
		un := &us[pt.u]
		gr := un.group[pt.g]
		pr.Wake = pr.Wake || gr.wake
		pr.Acts = un.appendActs(pr.Acts, gr)
	}
	f := &us[parts[0].u].f
	pr.Day = f.d.day()
	pr.ask(us, o, a)
	return pr
}

func (u *unit) appendActs(out []Act, g group) []Act {
	loc := u.f.o.loc
	key, of := "", int16(-1)
	for i := g.lo; i < g.hi; i++ {
		r := &u.acts[i]
		act := Act{Kind: r.kind.kind(), At: time.Unix(r.at, 0).In(loc), ML: journal.ML(r.ml)}
		switch {
		case r.x >= 0:
			x := &u.occs[r.x]
			if of != r.x {
				key, of = x.s.key(x.d), r.x
			}
			act.Feed, act.Occurrence = x.s.feed.Name, key
		case r.kind == rankMedication:
			act.Medicines = int(r.n)
		case r.n == 1:
			act.Feed = string(JejunalPort)
		default:
			act.Feed = string(GastricPort)
		}
		out = append(out, act)
	}
	return out
}

// ask settles what the answer to the prompt is about.
func (pr *Prompt) ask(us []unit, o *order, a *Actual) {
	pr.Asks.ContainerML = o.p.Formula.ContainerML
	level := o.level
	if a.Level != "" {
		level = a.Level
	}
	pr.findReadBack(o, a)
	pick := func(k AskKind, act *Act, ml journal.ML) {
		pr.Asks.Kind, pr.Asks.Feed, pr.Asks.Occurrence, pr.Asks.ExpectedML = k, act.Feed, act.Occurrence, ml
	}
	var start, end, flush, check *Act
	for i := range pr.Acts {
		act := &pr.Acts[i]
		switch act.Kind {
		case ActFeedStart:
			start = act
		case ActFeedEnd:
			if end == nil {
				end = act
			}
		case ActFlush, ActMedication:
			flush = act
		case ActCheckin:
			check = act
		}
	}
	switch {
	case level == Evening && len(pr.Acts) > 0 && !pr.lifted(a):
		pick(AskCheckin, &Act{}, pr.dayML())
	case pr.ReadBack != nil:
		k := check
		if k == nil {
			k = start
		}
		pick(AskReadBack, k, k.ML)
	case end != nil:
		pick(AskFeedEnd, end, end.ML)
	case start != nil:
		pick(AskFeedStart, start, start.ML)
	case check != nil:
		pick(AskCheckin, check, check.ML)
	case flush != nil:
		pick(AskFlush, flush, flush.ML)
	default:
		pr.Asks = Ask{}
	}
}

func (pr *Prompt) lifted(a *Actual) bool {
	return a.LiftedUntil != 0 && pr.At.UnixMilli() < int64(a.LiftedUntil)
}

// dayML is the volume of the feeds of an evening's text.
func (pr *Prompt) dayML() journal.ML {
	var sum journal.ML
	for _, a := range pr.Acts {
		if a.Kind == ActFeedEnd {
			sum += a.ML
		}
	}
	return sum
}
