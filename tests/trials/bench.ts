/**
 * Speed as ratios, each the median of five: `pnpm bench`. Seconds differ between machines; these hold better.
 */
import { execFileSync } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { readFlight } from '@settle/parser';
import { describeStudy, diagnose, pictureData, studyFlight } from '@settle/analysis';
import { assembleCharts, assembleDiagnosisDocument, renderHtml } from '@settle/report';
import { defaultConfig, simulateFlight, toCsvFiles, toFlight } from '@settle/simulator';
import Papa from 'papaparse';
import { ROOT } from '../support/command-line.js';
import { startBrowser } from '../support/browser.js';
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

// Reports: seconds here, since that is what a person waits for; they differ between machines.
config.script.hoverS = 600;
const long = toFlight(simulateFlight(config, 2));
const study = studyFlight(long, { vibration: true });
const html = await renderHtml(
  assembleDiagnosisDocument(describeStudy(study), assembleCharts(pictureData(study))),
);
console.log(
  `HTML report of a flight of ${long.durationS.toFixed(0)} s: ${(html.length / 1e6).toFixed(2)} MB (3 MB at most)`,
);

const folder = await mkdtemp(path.join(tmpdir(), 'settle-bench-'));
const file = path.join(folder, 'demo.html');
const processS = medianMs(() => {
  const name = path.join(ROOT, 'fixtures/samphire-hover-3');
  const gains = path.join(ROOT, 'fixtures/settings/samphire-hover-3-gains.json');
  const main = path.join(ROOT, 'packages/cli/dist/main.js');
  execFileSync(process.execPath, [
    main,
    'diagnose',
    name,
    '--gains',
    gains,
    '--html',
    file,
    '--force',
    '--quiet',
  ]);
});
console.log(`demo flight to HTML, whole process: ${(processS / 1000).toFixed(2)} s (3 s at most)`);

const browser = await startBrowser();
if (browser !== null) {
  const times: number[] = [];
  for (let run = 0; run < RUNS; run++) {
    const page = await browser.newPage();
    await page.goto(pathToFileURL(file).href, { waitUntil: 'load' });
    // Its text is read and folded from here on; the first chart is drawn right after.
    times.push(
      await page.evaluate(
        () =>
          (performance.getEntriesByType('navigation')[0] as unknown as { loadEventStart: number })
            .loadEventStart,
      ),
    );
    await page.close();
  }
  await browser.close();
  const median = times.sort((a, b) => a - b)[RUNS >> 1]!;
  console.log(`its page answers after ${(median / 1000).toFixed(2)} s (1 s at most)`);
}
await rm(folder, { recursive: true });
