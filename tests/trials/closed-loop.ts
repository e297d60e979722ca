/**
 * The full closed-loop trial: `npx tsx --tsconfig tsconfig.json tests/trials/closed-loop.ts FIRST_SEED COUNT [--why]`.
 * `--why` tells the story of every aircraft that was not put right within two changes, or came to harm on the way.
 *
 * Seeds 1 to 9,999 are for development, 10,000 to 19,999 for the part that runs with the tests. From 20,000 on they are
 * for acceptance: look at their figures, never tune on them.
 */
import { runTrial, type Adviser, type Trial } from './closed-loop-trial.js';
import { explainTrial, formatSummaries, shortcomings, summariseTrials } from './closed-loop-report.js';
import { toolAdviser } from './tool-adviser.js';
import { truthToldRule } from './truth-told-rule.js';

const advisers: Readonly<Record<string, Adviser>> = {
  'this tool': toolAdviser,
  'fixed steps, told the truth': truthToldRule,
};

const [first, many] = process.argv.slice(2).filter((argument) => !argument.startsWith('--'));
const why = process.argv.includes('--why');
const firstSeed = Number(first ?? 20_000);
const count = Number(many ?? 500);
if (!Number.isInteger(firstSeed) || !Number.isInteger(count) || count < 1) {
  throw new RangeError('usage: closed-loop.ts FIRST_SEED COUNT [--why]');
}

const summaries = Object.fromEntries(
  Object.entries(advisers).map(([name, adviser]) => {
    const trials: Trial[] = [];
    for (let seed = firstSeed; seed < firstSeed + count; seed++) {
      const trial = runTrial(seed, adviser, { askWhenGood: true });
      trials.push(trial);
      if (why && shortcomings(trial).length > 0) console.log(`${name}, ${explainTrial(trial)}\n`);
    }
    return [name, summariseTrials(trials)];
  }),
);
console.log(`seeds ${String(firstSeed)} to ${String(firstSeed + count - 1)}\n${formatSummaries(summaries)}`);
