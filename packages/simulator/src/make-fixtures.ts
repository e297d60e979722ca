/** Writes the demo flights and the settings they were made with; run by the `fixtures` script. */
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { toCsvFiles } from './csv.js';
import { toGainsFile } from './gains-file.js';
import { demoCsv, samphireHovers } from './samphire.js';
import { samphireRecord } from './samphire-record.js';
import { simulateFlight } from './simulate.js';

const fixtures = join(dirname(fileURLToPath(import.meta.url)), '../../../fixtures');
const settings = join(fixtures, 'settings');
mkdirSync(settings, { recursive: true });
for (const hover of samphireHovers()) {
  const folder = join(fixtures, hover.name);
  rmSync(folder, { recursive: true, force: true });
  mkdirSync(folder, { recursive: true });
  const sim = simulateFlight(hover.config, hover.seed);
  let bytes = 0;
  for (const file of toCsvFiles(sim, demoCsv(hover))) {
    writeFileSync(join(folder, file.name), file.text);
    bytes += file.text.length;
  }
  const { clockStartS, seed, config } = hover;
  writeFileSync(
    join(settings, `${hover.name}.json`),
    `${JSON.stringify({ clockStartS, seed, config }, null, 2)}\n`,
  );
  writeFileSync(
    join(settings, `${hover.name}-gains.json`),
    `${JSON.stringify(toGainsFile(config), null, 2)}\n`,
  );
  console.log(
    `${hover.name}: ${(sim.truth.motion.timeS.length / config.loopRateHz).toFixed(1)} s, ${String(Math.round(bytes / 1000))} kB`,
  );
}
writeFileSync(join(fixtures, 'samphire-record.json'), samphireRecord(samphireHovers()));
