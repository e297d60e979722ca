/**
 * Speed as ratios, each the median of five: `pnpm bench`. Seconds differ between machines; these hold better.
 */
import { readFlight } from '@settle/parser';
import { diagnose } from '@settle/analysis';
import { defaultConfig, simulateFlight, toCsvFiles, toFlight } from '@settle/simulator';
import Papa from 'papaparse';
import { transformReal } from '../../packages/analysis/src/spectrum/fft.js';

const RUNS = 5;

function medianMs(work: () => void): number {
  work();
  const times = Array.from({ length: RUNS }, () => {
    const start = performance.now();
    work();
    return performance.now() - start;
  });
  return times.sort((a, b) => a - b)[RUNS >> 1]!;
}

const config = defaultConfig();
config.script.hoverS = 60;
const sim = simulateFlight(config, 1);
const flight = toFlight(sim);
const files = toCsvFiles(sim);
const sources = files.map(({ name, text }) => ({ name, bytes: new TextEncoder().encode(text) }));
const samples = [...flight.signals.values()].reduce((sum, signal) => sum + signal.values.length, 0);

const plainParse = medianMs(() => {
  for (const { text } of files) Papa.parse<string[]>(text);
});
const reading = medianMs(() => {
  readFlight(sources);
});
const oneTransform = medianMs(() => {
  for (const axis of ['roll', 'pitch', 'yaw'] as const)
    transformReal(flight.signals.get(`rate.${axis}.measured`)!.values);
});
const diagnosing = medianMs(() => {
  diagnose(flight);
});

console.log(`one flight of ${flight.durationS.toFixed(0)} s, ${String(samples)} samples`);
console.log(
  `reading the CSV files over splitting them into cells alone: ${(reading / plainParse).toFixed(2)}`,
);
console.log(
  `diagnosing over one Fourier transform of the three rates: ${(diagnosing / oneTransform).toFixed(0)}`,
);
console.log(
  `length of the flight over reading and diagnosing it: ${((1000 * flight.durationS) / (reading + diagnosing)).toFixed(0)}`,
);
