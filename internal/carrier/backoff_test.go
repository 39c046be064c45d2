package carrier

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestBackoff(t *testing.T) {
	for _, c := range []struct {
		attempt int
		unit    float64
		want    time.Duration
	}{
		{1, 0, time.Second}, {1, 1, 2 * time.Second}, {2, 0.5, 3 * time.Second}, {3, 1, 8 * time.Second},
		{8, 0, 128 * time.Second}, {8, 1, 256 * time.Second}, {9, 1, 300 * time.Second}, {1000, 0, 150 * time.Second},
		{0, 0, time.Second}, {math.MinInt, 0, time.Second}, {math.MaxInt, 1, 300 * time.Second},
		{1, math.NaN(), time.Second}, {1, math.Inf(1), 2 * time.Second}, {1, -1, time.Second},
	} {
		if got := Backoff(c.attempt, c.unit); got != c.want {
			t.Errorf("Backoff(%d, %v) = %v, want %v", c.attempt, c.unit, got, c.want)
		}
	}
}

func TestBackoffBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, u := rapid.Int().Draw(t, "attempt"), rapid.Float64().Draw(t, "unit")
		if got := Backoff(n, u); got < time.Second || got > backoffMost {
			t.Fatalf("Backoff(%d, %v) = %v", n, u, got)
		}
		if n < math.MaxInt && Backoff(n+1, u) < Backoff(n, u) {
			t.Fatalf("the wait after %d tries is shorter than before", n+1)
		}
	})
}
