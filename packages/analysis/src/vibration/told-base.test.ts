/** What a second log says of folded lines, as bases. */
import { describe, expect, test } from 'vitest';
import type { PeakCluster } from './find-base.js';
import { leavesFoldedLine, toldBases } from './told-base.js';

const RATE = 125;
const cluster = (hz: number, height: number, told: readonly number[] | null): PeakCluster => ({
  hz,
  height,
  at: [],
  told,
});

describe('bases of lines that a second log says are folded', () => {
  test('the mean of the strongest ones, its half and its third', () => {
    // 86.5 and 83.5 Hz in a log of 125 Hz; what lies nearer to half of what is strongest than a rotor could is something else.
    const clusters = [cluster(38.5, 7, [-86.5]), cluster(41.5, 6, [-83.5]), cluster(17, 3, [-108])];
    const bases = toldBases(clusters, RATE);
    expect(bases).toHaveLength(3);
    [85, 42.5, 85 / 3].forEach((hz, i) => expect(bases[i]).toBeCloseTo(hz, 6));
  });

  test('of two readings that both fold, the one that other lines speak for comes first', () => {
    const clusters = [cluster(24, 5, [149, -101]), cluster(19, 3, [-106])];
    expect(toldBases(clusters, RATE)[0]).toBeCloseTo(103.5, 6);
  });

  test.for([
    ['it stands where it is', [cluster(40, 7, [40])]],
    ['nothing tells', [cluster(40, 7, null)]],
    ['it may as well not be folded', [cluster(40, 7, [40, -85])]],
    ['it is weak beside one that is not', [cluster(40, 7, [40]), cluster(38, 4, [-87])]],
  ] as const)('none where %s', ([, clusters]) => {
    expect(toldBases(clusters, RATE)).toEqual([]);
    expect(leavesFoldedLine(clusters, RATE, 15.4)).toBe(false);
  });

  test('a base that has no multiple there leaves such a line unexplained', () => {
    const clusters = [cluster(39.5, 9, [-85.5])];
    expect(leavesFoldedLine(clusters, RATE, 15.4)).toBe(true);
    for (const hz of [85, 43, 28.5]) expect(leavesFoldedLine(clusters, RATE, hz)).toBe(false);
  });
});
