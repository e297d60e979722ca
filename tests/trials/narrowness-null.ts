/**
 * Fits the tails in packages/analysis/src/oscillation/chance.ts: how often well-damped motion alone looks narrow.
 * Run with `npx tsx --tsconfig tsconfig.json tests/trials/narrowness-null.ts`; takes a few seconds.
 */
import { RUN_LENGTHS } from '../../packages/analysis/src/oscillation/chance.js';
import { narrownessTrack } from '../../packages/analysis/src/oscillation/narrowness.js';
import { recordSpectrum } from '../../packages/analysis/src/oscillation/record-spectrum.js';
import { slopeLevelling } from '../../packages/analysis/src/oscillation/levelling.js';
import { subBand } from '../../packages/analysis/src/oscillation/sub-bands.js';
import { randomSource } from '../support/random.js';
import { drivenResonance } from '../support/resonance.js';

const RECORDS = 1600;
const SAMPLE_RATE_HZ = 12;
const CYCLES = 200;
const PROBABILITIES = [1e-2, 5e-3, 2e-3, 1e-3, 5e-4, 3e-4];

for (const slope of [0, 2] as const) {
  const means = new Map<number, number[]>(RUN_LENGTHS.map((windows) => [windows, []]));
  for (let record = 0; record < RECORDS; record++) {
    const random = randomSource(7717 * record + 50 + slope);
    const values = drivenResonance(random, {
      dampingRatio: 0.3,
      hz: 1,
      sampleRateHz: SAMPLE_RATE_HZ,
      samples: SAMPLE_RATE_HZ * CYCLES,
      slope,
    });
    const spectrum = recordSpectrum(values, SAMPLE_RATE_HZ);
    const { share } = narrownessTrack(subBand(spectrum, 1, slopeLevelling(spectrum, 1)));
    for (const [windows, list] of means) {
      for (let i = 0; i + windows <= share.length; i++) {
        let sum = 0;
        for (let j = i; j < i + windows; j++) sum += share[j]!;
        list.push(sum / windows);
      }
    }
  }
  for (const [windows, list] of means) {
    list.sort((a, b) => b - a);
    const points = PROBABILITIES.map((p) => {
      const share = list[Math.floor(p * list.length)]!;
      return { x: Math.log(1 - share), y: Math.log(p) };
    });
    const x = points.reduce((sum, p) => sum + p.x, 0) / points.length;
    const y = points.reduce((sum, p) => sum + p.y, 0) / points.length;
    const b =
      points.reduce((sum, p) => sum + (p.x - x) * (p.y - y), 0) /
      points.reduce((sum, p) => sum + (p.x - x) ** 2, 0);
    console.log(
      `slope ${String(slope)}: windows ${String(windows)}, b ${b.toFixed(2)}, c ${(y - b * x).toFixed(2)}`,
    );
  }
}
