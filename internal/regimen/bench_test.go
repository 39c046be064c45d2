package regimen

import (
	"testing"
	"time"
)

// heavy is a household with much to do: six boluses, water for medicines, a night feed.
const heavy = `feeds:
  - {name: bolus, starts: ["08:00", "10:30", "13:00", "15:30", "18:00"], volume_ml: 120, hours: 0.5}
  - {name: night, start: "21:00", volume_ml: 900, rate_ml_per_h: 100}
flush: {before_ml: 15, after_ml: 15, every_h: 2, every_ml: 15, medication: [{at: "09:00", medicines: 2}, {at: "21:00", medicines: 3}], medication_ml: 10}
bag: {change_every_h: 24}
`

func benchPlans(b *testing.B) map[string]*Plan {
	p, _, err := Parse("maple-17.yaml", regimenFile(b, "maple-17.yaml"), limits(b))
	if err != nil {
		b.Fatal(err)
	}
	pl, err := Compile(p, limits(b))
	if err != nil {
		b.Fatal(err)
	}
	return map[string]*Plan{"maple-17": pl, "heavy": compile(b, minimal("America/New_York", "07:00", heavy))}
}

// The goal: under 5 microseconds and at most 5 allocations.
func BenchmarkNext(b *testing.B) {
	for name, pl := range benchPlans(b) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			begin := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
			at, n := begin, 0
			for b.Loop() {
				pr, ok := pl.Next(at, Actual{})
				if !ok {
					b.Fatal("nothing is next")
				}
				if at = pr.At; n%2000 == 1999 {
					at = begin // stay within a year
				}
				n++
			}
		})
	}
}

// The goal: a household-year of prompts with their texts under 20 ms.
func BenchmarkYearOfTexts(b *testing.B) {
	w := loadWords(b, "en")
	for name, pl := range benchPlans(b) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				n := 0
				for at, end := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC); at.Before(end); n++ {
					pr, ok := pl.Next(at, Actual{})
					if !ok {
						b.Fatal("nothing is next")
					}
					if pl.Text(pr, w) == "" {
						b.Fatal("no text")
					}
					at = pr.At
				}
				b.ReportMetric(float64(n), "prompts")
			}
		})
	}
}
