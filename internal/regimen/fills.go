package regimen

// fill is what is poured at one time: off seconds after the feed's start, ml of it.
type fill struct {
	off int64
	ml  int64
}

// planFills splits ml, given evenly over dur seconds, so that no fill hangs
// longer than limit seconds nor exceeds the bag's capacity (0: none named).
// Whole containers are poured where that opens fewer, or keeps less opened
// formula between fills without pouring more often.
func planFills(ml, dur, limit, capacity, container int64, keep int64) []fill {
	most := ml
	if dur > limit {
		most = max(ml*limit/dur, 1)
	}
	if capacity > 0 {
		most = min(most, capacity)
	}
	n := (ml + most - 1) / most
	even := make([]int64, n)
	for i := range even {
		even[i] = ml / n
		if int64(i) < ml%n {
			even[i]++
		}
	}
	sizes := even
	if container > 0 && most >= container && n > 1 {
		step := most / container * container
		var whole []int64
		for left := ml; left > 0; left -= step {
			whole = append(whole, min(left, step))
		}
		openE, keptE := openedFor(even, ml, dur, container, keep)
		openW, keptW := openedFor(whole, ml, dur, container, keep)
		if openW < openE || (openW == openE && len(whole) <= len(even) && keptW < keptE) {
			sizes = whole
		}
	}
	return timeFills(sizes, ml, dur, limit)
}

// timeFills places the fills: each begins when those before it have run in, at
// the whole minute before, unless the fill would then hang over its limit.
func timeFills(sizes []int64, ml, dur, limit int64) []fill {
	fills := make([]fill, len(sizes))
	sum := int64(0)
	for i, s := range sizes {
		fills[i] = fill{off: dur * sum / ml, ml: s}
		sum += s
	}
	for i := len(fills) - 1; i > 0; i-- {
		end := dur
		if i+1 < len(fills) {
			end = fills[i+1].off
		}
		if down := fills[i].off / 60 * 60; end-down <= limit {
			fills[i].off = down
		} else if end-fills[i].off > limit {
			fills[i].off = end - limit
		}
	}
	return fills
}

// openedFor counts the containers that the fills open and the most that stands
// opened between two of them, refrigerated leftovers being used up first while
// they are not older than keep seconds.
func openedFor(sizes []int64, ml, dur, container, keep int64) (opened, kept int64) {
	left, openedAt, sum := int64(0), int64(0), int64(0)
	for i, s := range sizes {
		now := dur * sum / ml
		sum += s
		if left > 0 && now-openedAt >= keep {
			left = 0
		}
		use := min(left, s)
		left -= use
		if need := s - use; need > 0 {
			n := (need + container - 1) / container
			opened += n
			left, openedAt = n*container-need, now
		}
		if i+1 < len(sizes) {
			kept = max(kept, left)
		}
	}
	return opened, kept
}
