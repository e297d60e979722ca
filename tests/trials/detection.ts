/**
 * The full trial of detection, several minutes: `pnpm trials`, or with other seeds `pnpm trials FIRST_SEED FLIGHTS`.
 *
 * Seeds 1 to 9,999 are for development, 10,000 to 19,999 for the part that runs with the tests. From 20,000 on they are
 * for acceptance: look at their figures, never tune on them.
 */
import { runDetectionTrial, withinOne, type TrialResult } from './detection-trial.js';

const firstSeed = Number(process.argv[2] ?? 20_000);
const flights = Number(process.argv[3] ?? 200);
const pct = (part: number, whole: number): string =>
  whole === 0 ? '–' : `${((100 * part) / whole).toFixed(1)} %`;

const quiet = runDetectionTrial('well-damped', { firstSeed, flights, twins: 0 });
const ringing = (['limit-cycle', 'growing'] as const).map((kind) =>
  runDetectionTrial(kind, { firstSeed, flights: flights / 2, twins: kind === 'limit-cycle' ? 4 : 0 }),
);
const driven = runDetectionTrial('driven', { firstSeed, flights: flights / 2, twins: 0 });

for (const result of [quiet, ...ringing, driven]) for (const remark of result.remarks) console.log(remark);
const total = (pick: (r: TrialResult) => number): number => ringing.reduce((sum, r) => sum + pick(r), 0);
const expected = total((r) => r.expected);
console.log(`
seeds from ${String(firstSeed)}
well damped, calm to gusty: ${String(quiet.flights)} flights (${pct(quiet.unmodelled, quiet.flights)} with effects not modelled)
  false oscillations          ${String(quiet.falseAlarms)}
  hover overlaps above 0.9    ${pct(quiet.hoverRight, quiet.flights)}
limit cycle or growing: ${String(total((r) => r.flights))} flights, ${String(total((r) => r.hops))} aborted hops (${pct(
  total((r) => r.unmodelled),
  total((r) => r.flights),
)} with effects not modelled)
  found                       ${pct(
    total((r) => r.found),
    expected,
  )} of ${String(expected)}
  frequency within 2 %        ${pct(
    total((r) => r.frequencyWithin2Pct),
    expected,
  )}
  amplitude within 10 %       ${pct(
    total((r) => r.amplitudeWithin10Pct),
    expected,
  )}
  hover overlaps above 0.9    ${pct(
    total((r) => r.hoverRight),
    total((r) => r.flights),
  )}
lightly damped, driven by gusts: ${String(driven.flights)} flights
  found                       ${pct(driven.found, driven.expected)} of ${String(driven.expected)}
truth within one stated standard deviation of the frequency
  driven, against the pole    ${(100 * withinOne(driven.againstPole)).toFixed(0)} % of ${String(driven.againstPole.length)}
  limit cycles, against twins ${(100 * withinOne(ringing[0]!.againstTwins)).toFixed(0)} % of ${String(ringing[0]!.againstTwins.length)}`);
