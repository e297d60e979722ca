import { describe, expect, it } from 'vitest';
import { toolStudy } from './vibration-tool.js';
import { tabulate } from './vibration-table.js';
import { runVibrationTrial, type Tally } from './vibration-trial.js';

// A small part of the full trial (`pnpm trials:vibration`), on seeds of its own. The limits are what is asked of the full
// trial (97 % of rotor speeds, 95 % of kinds and folds; levels within 10 %), loosened by what so few flights scatter.
const result = runVibrationTrial({ firstSeed: 10_000, flights: 16, study: toolStudy });
// The full trial prints every remark.
const said = `${tabulate(result)}\n${result.remarks.slice(0, 12).join('\n')}`;
const share = ({ right, of }: Tally): number => right / of;

describe('the study of vibration on simulated flights with known lines', () => {
  it('gives the rotor speed within 1 %', () => {
    const { rotorWithChannel: a, rotorFromSpectrum: b } = result;
    expect(a.of + b.of).toBeGreaterThanOrEqual(10);
    expect(a.right + b.right, said).toBeGreaterThanOrEqual(a.of + b.of - 1);
    // With no line of the rotors to be seen, none is made up.
    expect(result.rotorFromNothing.right, said).toBe(0);
  });

  it('finds the lines that stand out, and their levels within 10 %', () => {
    expect(result.found.of).toBeGreaterThan(60);
    expect(share(result.found), said).toBeGreaterThanOrEqual(0.93);
    expect(share(result.level), said).toBeGreaterThanOrEqual(0.93);
  });

  it('says what they are, and never calls a mode a rotor', () => {
    expect(share(result.kind), said).toBeGreaterThanOrEqual(0.93);
    expect(result.structureCalledRotor.of).toBeGreaterThan(0);
    expect(result.structureCalledRotor.right, said).toBe(0);
  });

  it('flags folded lines, and no others', () => {
    expect(result.folded.of).toBeGreaterThan(0);
    expect(result.folded.right, said).toBeGreaterThanOrEqual(result.folded.of - 1);
    expect(result.foldedWrongly.right, said).toBeLessThanOrEqual(1);
  });

  it('shows no line in quiet flights, to within the rate it states', () => {
    expect(result.quiet).toBeGreaterThanOrEqual(2);
    // Three standard deviations of a Poisson count, and one.
    expect(result.quietAxes.right, said).toBeLessThanOrEqual(
      result.statedFalse + 3 * Math.sqrt(result.statedFalse) + 1,
    );
  });
});
