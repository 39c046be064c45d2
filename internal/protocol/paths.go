package protocol

import (
	"fmt"
	"slices"
	"strconv"

	"hearthline/internal/journal"
)

// MaxPaths is the number of paths above which a protocol is refused.
const MaxPaths = 5_000_000

// paths walks every path of answers, silence included, from every case in
// which none of the questions is answered yet, and returns how many there were.
func (w *prover) paths() int {
	if len(w.p.questions) == 0 {
		return 0
	}
	starts := slices.Clone(w.axes)
	for i, a := range starts {
		if cells, asked := w.unsaid(a.fact); asked {
			starts[i].cells = cells
		}
	}
	for _, q := range w.p.questions { // facts that no condition speaks of
		w.unsay(q)
	}
	w.asked = make([]bool, len(w.p.questions))
	done := make([]bool, len(w.p.questions))
	walkCells(starts, &w.vs, func([]int) bool {
		if w.open() {
			answer, within, _ := w.set.urgency(w.p, &w.vs)
			w.follow(done, answer, within)
		}
		return w.walked <= MaxPaths
	})
	if w.walked > MaxPaths {
		w.breach("size", "$.questions", "lead to more than %d paths, too many to sign", MaxPaths)
	}
	for i, q := range w.p.questions {
		if !w.asked[i] {
			w.breach("unasked "+q.ID, fmt.Sprintf("$.questions[%d]", i), "question %q is never asked, whatever is known", q.ID)
		}
	}
	return w.walked
}

// unsaid returns the cell of a fact before its question is asked; false for a
// fact that no question makes known.
func (w *prover) unsaid(fact int) ([]cell, bool) {
	for _, q := range w.p.questions {
		if q.fact == fact {
			if q.Sets != "" && w.p.vocab.defs[fact].kind == truth {
				return []cell{{true, 0}}, true
			}
			return []cell{{}}, true
		}
	}
	if fact == fNoAnswer {
		return []cell{{true, 0}}, true
	}
	return nil, false
}

func (w *prover) unsay(q question) {
	cells, _ := w.unsaid(q.fact)
	w.vs.v[q.fact], w.vs.known[q.fact] = cells[0].v, cells[0].known
	w.vs.flag(fNoAnswer, false)
}

// follow goes on from the case at hand, with done telling which questions were
// asked on the way. answer and within are what the case had before.
func (w *prover) follow(done []bool, answer journal.Answer, within journal.Minutes) {
	now, soon, settled := w.set.urgency(w.p, &w.vs)
	if !settled && moreUrgent(answer, within, now, soon) {
		w.breach("path later", "$.questions", "an answer makes the case later: %s %d after %s %d", now, soon, answer, within)
	}
	if now == "" {
		w.breach("path open", "$.case", "a path ends with no answer time")
	}
	q, more := nextQuestion(w.p, &w.vs, func(q question) bool { return done[w.place(q)] })
	if !more || settled || now == journal.AnswerEmergency {
		w.walked++
		return
	}
	at := w.place(q)
	w.asked[at], done[at] = true, true
	was := cell{w.vs.known[q.fact], w.vs.v[q.fact]}
	for _, c := range w.answersOf(q) {
		w.vs.v[q.fact], w.vs.known[q.fact] = c.v, c.known
		w.path = append(w.path, q.ID+" "+q.inWords(c))
		w.follow(done, now, soon)
		w.path = w.path[:len(w.path)-1]
	}
	w.vs.v[q.fact], w.vs.known[q.fact] = was.v, was.known
	w.vs.flag(fNoAnswer, true) // silence: nothing more is asked
	w.path = append(w.path, q.ID+" unanswered")
	w.follow(done, now, soon)
	w.path = w.path[:len(w.path)-1]
	w.vs.flag(fNoAnswer, false)
	done[at] = false
}

func (w *prover) place(q question) int {
	return slices.IndexFunc(w.p.questions, func(o question) bool { return o.ID == q.ID })
}

// answersOf returns one value for each answer that conditions can tell apart.
func (w *prover) answersOf(q question) []cell {
	switch q.Answer {
	case "yes_no":
		return []cell{{true, 0}, {true, 1}}
	case "one_of":
		var list []cell
		for i := range q.OneOf {
			list = append(list, cell{true, int64(i)})
		}
		return list
	}
	for _, a := range w.axes {
		if a.fact == q.fact {
			var list []cell
			for _, c := range a.cells {
				if c.known {
					list = append(list, c)
				}
			}
			return list
		}
	}
	return []cell{{true, q.Min}}
}

// inWords writes the answer that a cell stands for.
func (q question) inWords(c cell) string {
	switch {
	case q.Answer == "number":
		return strconv.FormatInt(c.v, 10)
	case q.Answer == "one_of":
		return q.OneOf[c.v]
	case c.v == 1 && q.On == "no", c.v == 0 && q.On != "no":
		return "no"
	}
	return "yes"
}
