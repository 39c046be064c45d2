package reply

import (
	"strings"
)

// repairs finds the listed word that an unknown one is a slip of: one letter
// too many, too few, wrong, or two swapped. It is an index of every listed word
// with each one letter left out; two words one slip apart share such a form.
// Repair goes only toward listed words, never across a pair of the lists'
// "apart" table, and among several candidates the more dangerous wins.
type repairs struct {
	slots []slot
	apart map[[2]string]bool
}

type slot struct {
	hash uint32
	id   int32
}

const (
	shortestRepair = 4 // shorter words have too many neighbours
	longestRepair  = 24
)

func newRepairs(l *Lists, apart map[[2]string]bool) repairs {
	n := 0
	for _, w := range l.names {
		n += len(w) + 1
	}
	size := 1
	for size < 2*n {
		size *= 2
	}
	x := repairs{slots: make([]slot, size), apart: apart}
	for i := range x.slots {
		x.slots[i].id = -1
	}
	for id, w := range l.names {
		p := strings.TrimSuffix(w, "*")
		if len(p) < shortestRepair || len(p) > longestRepair || strings.IndexByte(w, ' ') >= 0 || w[0] == '\'' {
			continue
		}
		x.put(hashWithout(p, -1), int32(id))
		for i := range p {
			if i == 0 || p[i] != p[i-1] {
				x.put(hashWithout(p, i), int32(id))
			}
		}
	}
	return x
}

// hashWithout is FNV-1a over w with byte skip left out.
func hashWithout[T string | []byte](w T, skip int) uint32 {
	h := uint32(2166136261)
	for i := 0; i < len(w); i++ {
		if i != skip {
			h = (h ^ uint32(w[i])) * 16777619
		}
	}
	return h
}

func (x *repairs) put(h uint32, id int32) {
	mask := uint32(len(x.slots) - 1)
	for at := (h * 0x9e3779b1) & mask; ; at = (at + 1) & mask {
		if x.slots[at].id < 0 {
			x.slots[at] = slot{hash: h, id: id}
			return
		}
	}
}

// find is the best listed word one slip from w, or -1, and whether it is a
// slip that fingers make.
func (x *repairs) find(l *Lists, w []byte, langs uint8) (id int32, near bool) {
	if len(w) < shortestRepair || len(w) > longestRepair {
		return -1, false
	}
	best, bestScore := int32(-1), 0
	consider := func(h uint32, heads bool) {
		mask := uint32(len(x.slots) - 1)
		for at := (h * 0x9e3779b1) & mask; x.slots[at].id >= 0; at = (at + 1) & mask {
			if x.slots[at].hash != h {
				continue
			}
			id := x.slots[at].id
			if langs != 0 && l.info[id].langs&langs == 0 {
				continue
			}
			if s := x.score(l, w, id, heads); s > bestScore || s == bestScore && s > 0 && id < best {
				best, bestScore = id, s
			}
		}
	}
	consider(hashWithout(w, -1), false)
	for i := range w {
		consider(hashWithout(w, i), false)
	}
	// A listed prefix with one slip in it: "vommiting" begins as vomit* does.
	for n := 4; n < len(w) && n <= l.longest+1; n++ {
		consider(hashWithout(w[:n], -1), true)
		for i := 0; i < n; i++ {
			consider(hashWithout(w[:n], i), true)
		}
	}
	return best, bestScore%10 == int(nearSlip)
}

// score rates a candidate: 0 is no repair. Danger outweighs likelihood.
func (x *repairs) score(l *Lists, w []byte, id int32, heads bool) int {
	name := l.names[id]
	isPrefix := strings.HasSuffix(name, "*")
	if heads != isPrefix && (heads || len(w) > len(name)+1) {
		return 0
	}
	p := strings.TrimSuffix(name, "*")
	slip := noSlip
	if heads {
		if len(p) < 5 {
			return 0
		}
		for n := len(p) - 1; n <= len(p)+1 && n <= len(w); n++ {
			slip = max(slip, slipOf(w[:n], p))
		}
	} else {
		slip = slipOf(w, p)
	}
	in := &l.info[id]
	switch {
	case slip == noSlip, x.apart[[2]string{string(w), p}]:
		return 0
	case len(w) == shortestRepair && (slip < nearSlip || !in.clinical):
		return 0
	case w[0] != p[0] && (slip < nearSlip || len(w) < 6 && !in.clinical):
		return 0
	case !in.clinical && len(p) < 5:
		return 0
	}
	s := int(slip)
	switch {
	case in.danger:
		s += 30
	case in.clinical:
		s += 20
	case !in.everyday:
		s += 10
	}
	return s
}

type slipKind int

const (
	noSlip   slipKind = iota
	farSlip           // any other letter
	gapSlip           // a letter missing or too many
	nearSlip          // a neighbour on the keyboard, two swapped, a letter doubled
)

// slipOf tells how w is one slip from p.
func slipOf(w []byte, p string) slipKind {
	i := 0
	for i < len(w) && i < len(p) && w[i] == p[i] {
		i++
	}
	switch {
	case len(w) == len(p):
		if i == len(w) {
			return noSlip
		}
		if string(w[i+1:]) == p[i+1:] {
			if neighbours(w[i], p[i]) {
				return nearSlip
			}
			return farSlip
		}
		if i+1 < len(w) && w[i] == p[i+1] && w[i+1] == p[i] && string(w[i+2:]) == p[i+2:] {
			return nearSlip
		}
	case len(w) == len(p)+1 && string(w[i+1:]) == p[i:]:
		if i > 0 && w[i] == w[i-1] {
			return nearSlip
		}
		return gapSlip
	case len(w)+1 == len(p) && string(w[i:]) == p[i+1:]:
		if i > 0 && p[i] == p[i-1] {
			return nearSlip
		}
		return gapSlip
	}
	return noSlip
}

var keyboard = [...]string{"qwertyuiop", "asdfghjkl", "zxcvbnm"}

// neighbours tells whether two letters touch on a QWERTY keyboard.
func neighbours(a, b byte) bool {
	ra, ca := keyAt(a)
	rb, cb := keyAt(b)
	if ra < 0 || rb < 0 || a == b {
		return false
	}
	switch ra - rb {
	case 0:
		return ca-cb == 1 || cb-ca == 1
	case 1: // a is one row lower, which is shifted right by half a key
		return cb == ca || cb == ca+1
	case -1:
		return ca == cb || ca == cb+1
	}
	return false
}

func keyAt(c byte) (row, col int) {
	for r, keys := range keyboard {
		if i := strings.IndexByte(keys, c); i >= 0 {
			return r, i
		}
	}
	return -1, -1
}
