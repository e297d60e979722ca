/**
 * Margins against truth over many flights: `npx tsx --tsconfig tsconfig.json tests/trials/margins.ts FIRST_SEED COUNT [--why]`.
 * Three flights a seed. `--why` lists every loop that is off by more than 3 dB or 12° and by more than three stated standard
 * deviations.
 *
 * Seeds 1 to 9,999 are for development, 10,000 to 19,999 for the part that runs with the tests, from 20,000 on for
 * acceptance: look at their figures, never tune on them.
 */
import { formatMargins, runMarginTrial, type MarginCase } from './margins-trial.js';

const [first, many] = process.argv.slice(2).filter((argument) => !argument.startsWith('--'));
const firstSeed = Number(first ?? 20_000);
const count = Number(many ?? 100);
if (!Number.isInteger(firstSeed) || !Number.isInteger(count) || count < 1)
  throw new RangeError('usage: margins.ts FIRST_SEED COUNT [--why]');

const cases: MarginCase[] = [];
for (let seed = firstSeed; seed < firstSeed + count; seed++) {
  const own = runMarginTrial(seed);
  cases.push(...own);
  if (process.argv.includes('--why')) own.flatMap(describeMiss).forEach((line) => console.log(line));
}
console.log(`seeds ${String(firstSeed)} to ${String(firstSeed + count - 1)}\n${formatMargins(cases)}`);

function describeMiss({ seed, group, axis, loop, truth, said }: MarginCase): string[] {
  if (said === null) return [];
  const far = (a: number | null, b: number | null, std: number | null, most: number): boolean =>
    a !== null && b !== null && Math.abs(a - b) > Math.max(most, 3 * (std ?? 0));
  if (
    !far(said.gainMarginDb, truth.gainMarginDb, said.gainMarginStdDb, 3) &&
    !far(said.phaseMarginDeg, truth.phaseMarginDeg, said.phaseMarginStdDeg, 12)
  )
    return [];
  const text = (value: number | null): string => (value === null ? '–' : value.toFixed(1));
  return [
    `seed ${String(seed)} ${group} ${axis} ${loop}: said ${text(said.gainMarginDb)} ± ${text(said.gainMarginStdDb)} dB, ` +
      `${text(said.phaseMarginDeg)} ± ${text(said.phaseMarginStdDeg)}°; true ${text(truth.gainMarginDb)} dB, ${text(truth.phaseMarginDeg)}°; ${said.from}`,
  ];
}
