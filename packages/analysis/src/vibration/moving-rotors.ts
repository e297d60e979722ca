/** The rotors while the throttle moves: around the base whose multiples stand out when the records are turned with the commands. */
import { showsFirst } from './choose-base.js';
import { scannedRecords } from './find-base.js';
import { placedAlone, placedTogether, type PlacedBase, type RoughBase } from './place-rotors.js';
import { speedsFrom, type Commands } from './relative-speeds.js';
import { THOROUGH } from './rotor-means.js';
import type { SensorRecord } from './sensor-records.js';
import { sweptBases } from './swept-bases.js';

/** Rotors found this far from the base that they were sought around are something else, as a share. */
const RUNS_AWAY = 0.08;

/** Where commands make one expect rotors further apart than this, as a ratio, one may pass for the next, and their mean is not known yet. */
const APART = 1.04;
/** Times the lag that is likeliest. */
const LAGS = [0.7, 1.4];

/** @returns null where nothing says what turns */
export function movingRotors(
  commands: Commands,
  searched: readonly SensorRecord[],
  records: readonly SensorRecord[],
  folds: boolean,
): PlacedBase | null {
  const [first] = sweptBases(commands, scannedRecords(searched), folds);
  if (first === undefined) return null;
  const base = { ...first, commands };
  const placed =
    commands.length > 1 ? placedByLag(base, records) : placedAlone(base, records, true, THOROUGH);
  if (placed === null || Math.abs(placed.baseHz / first.baseHz - 1) > RUNS_AWAY) return null;
  return commands.length > 1 && !showsFirst(placed) ? null : placed;
}

/** By the lag that was found, then by others around it. */
function placedByLag(base: RoughBase, records: readonly SensorRecord[]): PlacedBase | null {
  const shares = speedsFrom(base.commands, base.power, base.lagS).map(({ share }) => share);
  const alike = Math.max(...shares) < APART * Math.min(...shares);
  let best = placedTogether(base, records, { moves: true, steady: false, known: alike });
  if (best === null) return null;
  for (const times of LAGS) {
    const lagS = times * base.lagS;
    const other = placedTogether({ ...best, lagS }, records, { moves: true, steady: false, known: true });
    if (other !== null && other.held > best.held) best = other;
  }
  return best;
}
