// Package regimen turns a tube-feeding prescription into what a household must
// do and when: feeds, fills, flushes, bag changes and the prompts that ask for
// them. It holds all feeding arithmetic of the house.
//
// Rules that nothing here may break:
//
//   - Starts are wall-clock times in the household's zone; durations, flush
//     intervals and hang times are elapsed time. A start that a clock change
//     skips happens at the first instant after the gap; one that occurs twice
//     happens once, at the first.
//   - What is delivered is never caught up: a late feed keeps its rate.
//   - Volumes in and out are whole millilitres; whatever is divided among
//     several acts adds up to exactly what was divided.
//   - Contradictions are said with both numbers, never resolved.
//
// The package is pure: the time is an argument, there is no I/O, no clock, no
// randomness. Limits that a clinician would set (hang times, thresholds) are
// not in the code: they come from flows/limits.yaml, see [ParseLimits].
package regimen
