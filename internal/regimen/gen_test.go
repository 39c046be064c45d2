package regimen

import (
	"fmt"
	"strings"

	"pgregory.net/rapid"
)

// someZones have clock changes of every kind: none, an hour, half an hour, at
// midnight, in the southern winter.
var someZones = []string{"America/Chicago", "Europe/London", "Australia/Lord_Howe", "Africa/Cairo", "Asia/Kathmandu", "America/Santiago", "Africa/Casablanca", "UTC", "Pacific/Chatham"}

// genRegimen draws a regimen file that Parse accepts: feeds that do not overlap
// and do not cross the feed day's start.
func genRegimen(t *rapid.T) string {
	zone := rapid.SampledFrom(someZones).Draw(t, "zone")
	start := rapid.IntRange(0, 23).Draw(t, "day starts") * 60
	var b strings.Builder
	b.WriteString("feeds:\n")
	if rapid.IntRange(0, 9).Draw(t, "round") == 0 {
		rate := rapid.IntRange(20, 100).Draw(t, "rate")
		fmt.Fprintf(&b, "  - {name: all day, start: %q, rate_ml_per_h: %d, hours: 24}\n", Clock(start), rate)
	} else {
		free := 0 // minutes after the feed day's start that are taken
		n := rapid.IntRange(1, 6).Draw(t, "feeds")
		for i := range n {
			from := free + rapid.IntRange(0, 300).Draw(t, "gap")
			rate := rapid.IntRange(20, 200).Draw(t, "rate")
			vol := rapid.IntRange(20, 900).Draw(t, "volume")
			min := (vol*60+rate-1)/rate + 1
			if from+min > 1440 || from >= 1440 {
				break
			}
			days, wake := "", ""
			if rapid.IntRange(0, 3).Draw(t, "weekly") == 0 {
				days = ", days: [" + strings.Join(rapid.SliceOfNDistinct(rapid.SampledFrom(dayNames[:]), 1, 6, rapid.ID).Draw(t, "days"), ", ") + "]"
			}
			if w := rapid.IntRange(0, 3).Draw(t, "wake"); w < 2 {
				wake = fmt.Sprintf(", wake: %v", w == 1)
			}
			fmt.Fprintf(&b, "  - {name: feed %d, start: %q, volume_ml: %d, rate_ml_per_h: %d%s%s}\n", i+1, clockAt(start+from), vol, rate, days, wake)
			free = from + min
		}
		if free == 0 {
			fmt.Fprintf(&b, "  - {name: feed 1, start: %q, volume_ml: 200, rate_ml_per_h: 100}\n", clockAt(start))
		}
	}
	fmt.Fprintf(&b, "flush: {before_ml: %d, after_ml: %d", rapid.IntRange(0, 30).Draw(t, "before"), rapid.IntRange(0, 30).Draw(t, "after"))
	if h := rapid.IntRange(0, 8).Draw(t, "every"); h > 0 {
		fmt.Fprintf(&b, ", every_h: %d, every_ml: %d", h, rapid.IntRange(1, 30).Draw(t, "every ml"))
	}
	if n := rapid.IntRange(0, 3).Draw(t, "medication"); n > 0 {
		b.WriteString(", medication_ml: 10, medication: [")
		for i := range n {
			fmt.Fprintf(&b, "{at: %q, medicines: %d},", clockAt(360+i*300), i+1)
		}
		b.WriteString("]")
	}
	b.WriteString("}\nbag: {change_every_h: 24}\n")
	fmt.Fprintf(&b, "prompts: {level: %s, per_day: %d}\n", rapid.SampledFrom([]string{"each_step", "each_feed", "evening"}).Draw(t, "level"), rapid.IntRange(2, 12).Draw(t, "per day"))
	return minimal(zone, Clock(start).String(), b.String())
}
