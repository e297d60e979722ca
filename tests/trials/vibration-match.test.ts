import type { Flight } from '@settle/parser';
import { describe, expect, it } from 'vitest';
import type { StudiedLine, VibrationStudy } from '../../packages/analysis/src/vibration/vibration-study.js';
import type { SimulatedFlight } from '@settle/simulator';
import { runVibrationTrial, type VibrationTrialResult } from './vibration-trial.js';

// From one with an electrical line to a quiet one.
const firstSeed = 10_002;
const flights = 6;

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
  return runVibrationTrial({ firstSeed, flights, study });
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
