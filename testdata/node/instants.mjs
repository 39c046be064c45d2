// Reads lines "zone<TAB>2026-03-08T02:30" and writes for each the Unix seconds
// of the first instant at which a clock in that zone shows it, or, where a
// clock change skips it, of the first instant after the gap. An independent
// reference (luxon on the runtime's own zone data) for the program's own rule.
// With the argument "days" a line is "zone<TAB>first day<TAB>days<TAB>HH:MM,HH:MM",
// and the answer one line of instants, the times of each day in order.
import { createInterface } from 'node:readline';
import { DateTime, IANAZone } from 'luxon';

const zones = new Map();
function zone(name) {
  if (!zones.has(name)) zones.set(name, IANAZone.create(name));
  return zones.get(name);
}

// The instant at which the offset changes in (lo, hi], to the second.
function change(z, lo, hi) {
  const before = z.offset(lo);
  while (hi - lo > 1000) {
    const mid = Math.floor((lo + hi) / 2000) * 1000;
    if (z.offset(mid) === before) lo = mid; else hi = mid;
  }
  return hi;
}

function instant(name, y, mo, d, h, mi) {
  const z = zone(name);
  if (!z.isValid) return NaN;
  const dt = DateTime.fromObject({ year: y, month: mo, day: d, hour: h, minute: mi }, { zone: z });
  if (dt.hour === h && dt.minute === mi) {
    return Math.min(...dt.getPossibleOffsets().map((x) => x.toSeconds()));
  }
  // Skipped. Find the change around it.
  const ms = dt.toMillis();
  return change(z, ms - 4 * 3600e3, ms + 4 * 3600e3) / 1000;
}

const days = process.argv[2] === 'days';
for await (const line of createInterface({ input: process.stdin })) {
  const f = line.split('\t');
  if (!days) {
    const [y, mo, d, h, mi] = f[1].split(/[-T:]/).map(Number);
    console.log(instant(f[0], y, mo, d, h, mi));
    continue;
  }
  const [y, mo, d] = f[1].split('-').map(Number);
  const times = f[3].split(',').map((t) => t.split(':').map(Number));
  const out = [];
  const z = zone(f[0]);
  // One offset a day, at noon UTC, tells whether a change is near: a day's
  // readings lie within a day and a half of it.
  const noons = [];
  for (let k = -2; k < Number(f[2]) + 2; k++) noons.push(z.isValid ? z.offset(Date.UTC(y, mo - 1, d + k, 12)) : NaN);
  for (let k = 0; k < Number(f[2]); k++) {
    const day = new Date(Date.UTC(y, mo - 1, d + k));
    const before = noons[k];
    if ([1, 2, 3, 4].every((i) => noons[k + i] === before)) {
      // No change near: the offset is all there is to a reading.
      for (const [h, mi] of times) out.push(day.getTime() / 1000 + h * 3600 + mi * 60 - before * 60);
      continue;
    }
    for (const [h, mi] of times) {
      out.push(instant(f[0], day.getUTCFullYear(), day.getUTCMonth() + 1, day.getUTCDate(), h, mi));
    }
  }
  console.log(out.join(' '));
}
