import { describe, expect, it } from 'vitest';
import { toolStudy } from './vibration-tool.js';
import { tabulate } from './vibration-table.js';
import { runVibrationTrial, type Tally } from './vibration-trial.js';

// A small part of the full trial (`pnpm trials:vibration`), on seeds of its own. Wanted of the full trial are 97 % of rotor
// speeds, levels within 10 %, 95 % of kinds, 95 % of folded lines flagged and no mode called a rotor. Where the study falls short
// of that today, the limits below hold what it reaches, so that it cannot get worse unseen; the table is printed either way.
const result = runVibrationTrial({ firstSeed: 10_000, flights: 16, study: toolStudy });
// The full trial prints every remark.
const said = `${tabulate(result)}\n${result.remarks.slice(0, 12).join('\n')}`;
const share = ({ right, of }: Tally): number => right / of;
console.log(tabulate(result));

describe('the study of vibration on simulated flights with known lines', () => {
  it('gives the rotor speed within 1 %', () => {
    const { rotorWithChannel: a, rotorFromSpectrum: b } = result;
    expect(a.of + b.of).toBeGreaterThanOrEqual(10);
    expect(share(a), said).toBe(1);
    expect(share(b), said).toBeGreaterThanOrEqual(0.97);
    // With no line of the rotors to be seen, none is made up.
    expect(result.rotorFromNothing.right, said).toBe(0);
  });

  it('finds the lines that stand out, and their levels within 10 %', () => {
    expect(result.found.of).toBeGreaterThan(60);
    expect(share(result.found), said).toBeGreaterThanOrEqual(0.93);
    // Wanted: all.
    expect(share(result.level), said).toBeGreaterThanOrEqual(0.93);
  });

  it('says what they are, and never calls a mode a rotor', () => {
    expect(share(result.kind), said).toBeGreaterThanOrEqual(0.95);
    expect(result.structureCalledRotor.of).toBeGreaterThan(0);
    expect(result.structureCalledRotor.right, said).toBe(0);
  });

  it('flags folded lines, and no others', () => {
    expect(result.folded.of).toBeGreaterThan(0);
    expect(share(result.folded), said).toBeGreaterThanOrEqual(0.95);
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

// Weight far off centre puts the rotors up to 25 % apart (`pnpm trials:vibration FIRST COUNT off-centre`).
describe('rotors at very different speeds', () => {
  it('their mean is given within 1 %, where one is given', () => {
    const far = runVibrationTrial({ firstSeed: 11_000, flights: 4, offCentre: true, study: toolStudy });
    const { rotorWithChannel: a, rotorFromSpectrum: b } = far;
    const all = `${tabulate(far)}\n${far.remarks.slice(0, 12).join('\n')}`;
    expect(a.of + b.of, all).toBeGreaterThanOrEqual(3);
    expect(far.rotorWrong.right, all).toBe(0);
    expect(far.structureCalledRotor.right, all).toBe(0);
  });
});
