import type { Flight } from '@settle/parser';
import { describe, expect, it } from 'vitest';
import type { StudiedLine, VibrationStudy } from '../../packages/analysis/src/vibration/vibration-study.js';
import { flyVibration, type SimulatedFlight } from '@settle/simulator';
import { shareOf, type Cluster } from './vibration-match.js';
import { runVibrationTrial, type VibrationTrialResult } from './vibration-trial.js';

// From one with an electrical line to a quiet one.
const firstSeed = 10_002;
const flights = 6;

const flown = new Map<number, ReturnType<typeof flyVibration>>();
/** Flown once, and studied three times. */
const fly = (seed: number): ReturnType<typeof flyVibration> => {
  const known = flown.get(seed) ?? flyVibration(seed);
  flown.set(seed, known);
  return known;
};

/** The trial of a study that knows the truth, with what `change` makes of each line. */
function trialOf(change: (line: StudiedLine) => StudiedLine): VibrationTrialResult {
  const study = (_: Flight, sim: SimulatedFlight): VibrationStudy => {
    const truth = sim.truth.vibration!.airborne!;
    return {
      interval: sim.truth.airborne!,
      lowestHz: 15,
      spectra: [],
      elsewhere: [],
      lines: truth.lines
        .filter((line) => {
          const own = truth.sensors.find((s) => s.sensor === line.sensor && s.axis === line.axis)!;
          return line.rms ** 2 > own.floorAt(line.loggedHz);
        })
        .map((line) =>
          change({
            ...line,
            frequencyHz: line.loggedHz,
            frequencyStdHz: 0.01,
            aboveFloorDb: 20,
            trueFrequencyHz: line.foldedShare > 0.5 ? line.trueFrequencyHz : null,
            kind: line.foldedShare > 0.5 ? 'alias' : line.kind,
            confidence: 1,
            evidence: [],
          }),
        ),
      rotor: {
        from: 'spectrum',
        tracks: [],
        hoverHz: truth.rotorHz.mean,
        hoverStdHz: 0.1,
        unseen: 0,
        lowHz: truth.rotorHz.low,
        highHz: truth.rotorHz.high,
        throttleExponent: null,
        throttleExponentStd: null,
        hoverThrottle: null,
        evidence: [],
      },
      sensors: [],
      campbell: [],
      falseAlarmRate: 0.01,
    };
  };
  return runVibrationTrial({ firstSeed, flights, study, fly });
}

describe('the vibration trial', () => {
  it('finds nothing wrong with a study that knows the truth', () => {
    const result = trialOf((line) => line);
    expect(result.found.of).toBeGreaterThan(20);
    for (const tally of [
      result.rotorWithChannel,
      result.rotorFromSpectrum,
      result.found,
      result.level,
      result.frequency,
      result.kind,
      result.folded,
      result.rotorNamed,
    ])
      expect(tally.right).toBe(tally.of);
    for (const tally of [result.structureCalledRotor, result.extra, result.quietAxes, result.foldedWrongly])
      expect(tally.right).toBe(0);
  });

  it('sees levels that are 15 % too high', () => {
    const { level, found } = trialOf((line) => ({ ...line, rms: 1.15 * line.rms }));
    expect(found.right).toBe(found.of);
    // Rotors that beat slowly may have come to more together than by their squares.
    expect(level.right / level.of).toBeLessThan(0.2);
  });

  it('sees every mode that is called a rotor and every line that is none', () => {
    const { structureCalledRotor, kind, extra } = trialOf((line) => ({
      ...line,
      kind: 'rotor',
      frequencyHz: line.kind === 'electrical' ? 5 : line.frequencyHz,
    }));
    expect(structureCalledRotor.of).toBeGreaterThan(0);
    expect(structureCalledRotor.right).toBe(structureCalledRotor.of);
    expect(kind.right).toBeLessThan(kind.of);
    expect(extra.right).toBeGreaterThan(0);
  });
});

describe('whose a found line is', () => {
  const line = (kind: string, loggedHz: number, rms: number) => ({ kind, loggedHz, rms });
  // A mode of 3 Hz half width, and a rotor's sharp line in it with a tenth of its rms.
  const cluster = { lines: [line('structure', 176.4, 1), line('rotor', 176, 0.1)] } as unknown as Cluster;
  const rotorShare = (frequencyHz: number, rms: number): number =>
    shareOf(cluster, { frequencyHz, rms }, ({ kind }) => kind === 'rotor');

  it('the line of the rotor is the rotor’s though the mode holds a hundred times its power', () => {
    expect(rotorShare(176.02, 0.1)).toBeCloseTo(1, 9);
  });

  it('the mode’s power at the rotor’s place, or the rotor’s power elsewhere, is not the rotor’s', () => {
    expect(rotorShare(176.02, 0.5)).toBeCloseTo(0.04, 9);
    expect(rotorShare(177.2, 0.1)).toBe(0);
  });
});
