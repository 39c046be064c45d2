package carrier

import (
	"math"
	"time"
)

// The pace of trying again: the first wait and the longest. Common practice, no source.
const (
	backoffFirst = 2 * time.Second
	backoffMost  = 5 * time.Minute
)

// Backoff is how long to wait before trying again after attempt tries (from 1;
// less counts as 1). The wait doubles from 2 s to at most 5 min; unit, in 0..1
// and given by the caller, chooses within its upper half, so that what failed
// together is not tried again together. The result is in [1 s, 5 min].
func Backoff(attempt int, unit float64) time.Duration {
	if !(unit > 0) { // also NaN
		unit = 0
	}
	wait := backoffMost
	if shift := max(attempt, 1) - 1; shift < 8 {
		wait = min(backoffFirst<<shift, backoffMost)
	}
	half := wait / 2
	return half + time.Duration(math.Min(unit, 1)*float64(half))
}
