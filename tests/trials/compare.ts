/**
 * Comparisons against truth: `pnpm trials:compare FIRST_SEED COUNT [--why] [--only KIND,KIND]`. Kinds are those
 * of pairs (`another-day` flies calmer on even seeds and windier on odd ones), `lines`, `sequences` and `vibration`.
 *
 * Seeds 1 to 9,999 are for development, 10,000 to 19,999 for the part that runs with the tests. From 20,000 on they are
 * for acceptance: look at their figures, never tune on them.
 */
import { comparePair, type ComparedPair } from './compare-trial.js';
import { PAIR_KINDS } from './compare-pairs.js';
import { compareLines, compareVibration } from './compare-lines.js';
import { compareSequence } from './compare-sequences.js';
import {
  explainCase,
  formatGainFits,
  formatLines,
  formatSequences,
  formatVibration,
  formatComparisons,
} from './compare-report.js';

const args = process.argv.slice(2);
const only = args.includes('--only') ? args[args.indexOf('--only') + 1]?.split(',') : undefined;
const wanted = (kind: string): boolean => only === undefined || only.includes(kind);
const [first, many] = args.filter((argument) => /^\d+$/.test(argument));
const firstSeed = Number(first ?? 20_000);
const count = Number(many ?? 300);
const pairs: ComparedPair[] = [];
let refused = 0;
/** A long run says now and then how far it is, on the other stream. */
const REPORT_EVERY = 25;
for (let seed = firstSeed; seed < firstSeed + count; seed++) {
  if (seed > firstSeed && (seed - firstSeed) % REPORT_EVERY === 0)
    console.error(`up to seed ${String(seed - 1)}\n${formatComparisons(pairs)}`);
  for (const kind of PAIR_KINDS) {
    const isOtherDay = kind === (seed % 2 === 0 ? 'calmer' : 'windier');
    if (!wanted(kind) && !(only?.includes('another-day') === true && isOtherDay)) continue;
    const compared = comparePair(kind, seed);
    if (compared === null) {
      refused++;
      continue;
    }
    pairs.push(compared);
    if (args.includes('--why'))
      for (const c of compared.cases)
        if (c.wrong || (c.metric.endsWith('gain margin') && c.trueGain >= 3 && c.verdict !== 'better'))
          console.log(explainCase(c));
    if (args.includes('--why')) {
      const sameTune = kind === 'calmer' || kind === 'windier' || kind === 'pilot';
      const told = compared.comparison.rows.flatMap((row) =>
        sameTune && row.group === 'loops' && (row.verdict[1] === 'better' || row.verdict[1] === 'worse')
          ? [
              `${kind} ${String(seed)} ${row.axis ?? ''} ${row.metric} ${row.verdict[1]} ${row.values.map((v) => v?.toFixed(3)).join(' ')} ± ${row.std.map((v) => v?.toFixed(3)).join(' ')} ${row.why[1] ?? ''}`,
            ]
          : [],
      );
      if (told.length > 0) console.log(told.join('\n'));
    }
  }
}
console.log(
  `seeds ${String(firstSeed)} to ${String(firstSeed + count - 1)}, ${String(refused)} pairs without a hover`,
);
if (pairs.length > 0) console.log(formatComparisons(pairs));
const seeds = Array.from({ length: count }, (_, i) => firstSeed + i);
if (wanted('lines')) {
  const lines = seeds.flatMap((seed) =>
    (['loop', 'structure'] as const).flatMap((truth) => compareLines(truth, seed) ?? []),
  );
  console.log(formatLines(lines, args.includes('--why')));
  console.log(formatGainFits(lines));
}
if (wanted('sequences'))
  console.log(
    formatSequences(
      seeds.flatMap((seed) => compareSequence(seed) ?? []),
      args.includes('--why'),
    ),
  );
if (wanted('vibration')) {
  console.log(formatVibration(seeds.flatMap(compareVibration), args.includes('--why')));
}
