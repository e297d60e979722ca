/**
 * The full trial of vibration, minutes: `pnpm trials:vibration`, or with other seeds
 * `pnpm trials:vibration FIRST_SEED COUNT`; with weight far off centre, and rotors at very different speeds,
 * `pnpm trials:vibration FIRST_SEED COUNT off-centre`.
 *
 * Seeds 1 to 9,999 are for development, 10,000 to 19,999 for the part that runs with the tests. From 20,000 on they are
 * for acceptance: look at their figures, never tune on them.
 */
import { toolStudy } from './vibration-tool.js';
import { tabulate } from './vibration-table.js';
import { runVibrationTrial } from './vibration-trial.js';

const firstSeed = Number(process.argv[2] ?? 20_000);
const flights = Number(process.argv[3] ?? 200);
const offCentre = process.argv[4] === 'off-centre';
const result = runVibrationTrial({ firstSeed, flights, offCentre, study: toolStudy });
for (const remark of result.remarks) console.log(remark);
console.log(
  `\nseeds from ${String(firstSeed)}${offCentre ? ', weight off centre' : ''}\n${tabulate(result)}`,
);
