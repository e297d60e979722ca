/** The rotors while the throttle moves: around the base whose multiples stand out when the records are turned with the commands. */
import { showsFirst } from './choose-base.js';
import { scannedRecords } from './find-base.js';
import { placedAlone, placedTogether, type PlacedBase } from './place-rotors.js';
import { speedsFrom, type Commands } from './relative-speeds.js';
import { THOROUGH } from './rotor-means.js';
import type { SensorRecord } from './sensor-records.js';
import { areAlike, sweptBases } from './swept-bases.js';

/**
 * Rotors found this far from the base that they were sought around are something else, as a share. Of rotors that are told about as much
 * the base is the mean to 1 %, and to 2.5 % where one of them is so strong that it draws it to itself.
 */
const RUNS_AWAY = { alike: 0.025, apart: 0.08 };

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
  const shares = speedsFrom(commands, first.power, first.lagS).map(({ share }) => share);
  const alike = areAlike(shares);
  const placed =
    commands.length > 1
      ? placedTogether(base, records, { moves: true, steady: false, known: alike })
      : placedAlone(base, records, true, THOROUGH);
  const far = commands.length > 1 && alike ? RUNS_AWAY.alike : RUNS_AWAY.apart;
  if (placed === null || Math.abs(placed.baseHz / first.baseHz - 1) > far) return null;
  return commands.length > 1 && !showsFirst(placed) ? null : placed;
}
