package regimen

// dropNearFlushes makes flushes within a few minutes of each other one, the
// larger; a port's own flush and the water around medicines stay apart.
func (f *frame) dropNearFlushes(occs []occ, buf []raw, first int) []raw {
	last := -1
	out := buf[:first]
	for _, r := range buf[first:] {
		if r.kind == rankFlushBefore || r.kind == rankFlush || r.kind == rankFlushAfter {
			if last < 0 && r.kind == rankFlushBefore && f.flushedBefore(r.at) {
				// The feed day before ended with a flush at this very time.
				if r.ml -= int32(f.o.p.Flush.AfterML); r.ml <= 0 {
					continue
				}
			}
			if last >= 0 && r.at-out[last].at < f.o.apart && occs[r.x].s.feed.Port == occs[out[last].x].s.feed.Port {
				out[last].ml = max(out[last].ml, r.ml)
				continue
			}
			last = len(out)
		}
		out = append(out, r)
	}
	return out
}

// flushedBefore reports whether the last feed of the day before ended, with its
// flush, within a few minutes before t.
func (f *frame) flushedBefore(t int64) bool {
	if f.o.p.Flush.AfterML == 0 || t-f.start >= f.o.apart {
		return false
	}
	end := f.lastEndBefore()
	return end <= t && t-end < f.o.apart && end > f.o.from
}

// send decides when the prompt of each act goes out.
func (f *frame) send(occs []occ, acts []raw, level Level) {
	o := f.o
	if level == Evening {
		at := f.at(o.after(Clock(o.checkin)))
		for i := range acts {
			acts[i].send = at
		}
		return
	}
	for i := range acts {
		r := &acts[i]
		r.send = r.at
		quiet := f.isQuiet(r.at)
		if r.x < 0 {
			if quiet {
				f.atNight(r, wakeDefault(o))
			}
			continue
		}
		x := &occs[r.x]
		start := x.start
		if f.isQuiet(start) && x.s.wake == wakeNothing {
			start = f.quietEnd(start)
		}
		switch r.kind {
		case rankPlacement, rankBag, rankFlushBefore, rankFill, rankStart:
			if quiet {
				f.atNight(r, x.s.wake)
			}
		case rankReadBack, rankCheckin:
			r.wake = quiet
		case rankFlush:
			if quiet && x.s.wake == wakeAll && level == EachStep {
				r.wake = true
			} else if quiet || level != EachStep {
				r.send = start // said in the text of the feed it belongs to
			}
		case rankRefill:
			if quiet && x.s.wake == wakeAll {
				r.wake = true
			} else if quiet {
				r.send = start
			}
		case rankEnd, rankFlushAfter:
			if level != EachStep && x.end-x.start <= int64(o.lim.OneTextUpTo)*60 && (x.act == nil || x.act.Started == 0) {
				r.send = start // a short feed has one text, which asks how it went
			} else if quiet {
				if x.s.wake == wakeAll {
					r.wake = true
				} else {
					r.send = f.quietEnd(r.at)
				}
			}
		}
	}
}

// atNight settles an act that the prescription itself puts into quiet hours.
func (f *frame) atNight(r *raw, w wakeRule) {
	if w == wakeNothing {
		r.send = f.quietEnd(r.at)
		return
	}
	r.wake = true
}

func wakeDefault(o *order) wakeRule {
	if w := o.p.Prompts.Wake; w != nil && !*w {
		return wakeNothing
	}
	return wakeStarts
}

// isQuiet reports whether the family's quiet hours hold at t.
func (f *frame) isQuiet(t int64) bool {
	o := f.o
	if !o.quiet {
		return false
	}
	var m int
	if f.flat {
		m = int(((t-f.start)/60+int64(o.dayStart))%1440+1440) % 1440
	} else {
		_, m = localDay(o.loc, t)
	}
	if o.quietFrom < o.quietUntil {
		return m >= o.quietFrom && m < o.quietUntil
	}
	return m >= o.quietFrom || m < o.quietUntil
}

// quietEnd returns when the quiet hours that hold at t end.
func (f *frame) quietEnd(t int64) int64 { return f.firstAfter(t, f.o.quietUntil) }

// group is a run of acts [lo, hi) that go out as one text.
type group struct {
	at     int64
	lo, hi int16
	give   class
	ends   bool // holds a feed's end
	wake   bool
}

// groups appends the day's texts: acts within merge seconds of the first are
// one, and while there are more than the ceiling allows, the one that gives way
// first is folded into a neighbour.
func (f *frame) groups(acts []raw, first int, ceiling int, buf []group) []group {
	n := len(buf)
	for i := first; i < len(acts); i++ {
		r := &acts[i]
		if g := len(buf) - 1; g < n || r.send-buf[g].at >= f.o.merge || r.send > buf[g].at && buf[g].at <= f.o.from {
			buf = append(buf, group{at: r.send, lo: int16(i), hi: int16(i + 1), give: r.give, ends: r.kind == rankEnd, wake: r.wake})
			continue
		}
		g := &buf[len(buf)-1]
		g.hi = int16(i + 1)
		g.give = max(g.give, r.give)
		g.ends = g.ends || r.kind == rankEnd
		g.wake = g.wake || r.wake
	}
	// What goes out at the order's very start stays by itself (see near).
	ceiling += n
	for n < len(buf) && buf[n].at <= f.o.from {
		n++
	}
	for len(buf) > max(ceiling, n+1) {
		buf = fold(acts, buf, n)
	}
	return buf
}

// foldsOver returns how far the i-th group would be moved in time by fold: of
// two that could go, the one nearer to its neighbour goes.
func foldsOver(acts []raw, buf []group, n, i int) int64 {
	if i == n || i+1 < len(buf) && acts[buf[i].lo].kind == rankEnd {
		return buf[i+1].at - buf[i].at
	}
	return buf[i].at - buf[i-1].at
}

// fold takes one group out. What must be said before it is done goes into the
// text before ("a prompt says what comes next"), what is asked afterwards into
// the next one.
func fold(acts []raw, buf []group, n int) []group {
	pick := -1
	for i := n; i < len(buf); i++ {
		if buf[i].give == giveEnd && i == len(buf)-1 {
			continue // the day's last question has no later text to go to (but see below)
		}
		if pick < 0 || buf[i].give < buf[pick].give || buf[i].give == buf[pick].give && foldsOver(acts, buf, n, i) < foldsOver(acts, buf, n, pick) {
			pick = i
		}
	}
	if pick < 0 || buf[pick].give >= giveShortStart && buf[len(buf)-1].give == giveEnd {
		pick = len(buf) - 1 // better asked ahead, in the text of the start, than a start untold
	}
	g := buf[pick]
	cut := g.hi
	if pick+1 < len(buf) {
		for k := g.lo; k < g.hi; k++ {
			if acts[k].kind == rankEnd {
				cut = k
				break
			}
		}
	}
	if pick == n { // the first of the day has nothing before it
		cut = g.lo
	}
	if cut > g.lo {
		p := &buf[pick-1]
		p.hi, p.give, p.ends = cut, max(p.give, g.give), p.ends || (g.ends && cut == g.hi)
	}
	if cut < g.hi {
		q := &buf[pick+1]
		q.lo, q.give, q.ends = cut, max(q.give, g.give), q.ends || g.ends
		if pick == n {
			q.at = min(q.at, g.at)
			q.wake = q.wake || g.wake
		}
	}
	return append(buf[:pick], buf[pick+1:]...)
}
