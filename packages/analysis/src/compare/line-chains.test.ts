import { describe, expect, test } from 'vitest';
import type { HoverSummary } from './hover-summary.js';
import { followAxis } from './line-chains.js';

interface Line {
  readonly hz: number;
  readonly kind?: string;
  readonly order?: number | null;
  readonly axis?: string;
}

/** Only what is looked at: oscillations of roll, and lines of the gyro. */
function hover(swingsHz: readonly number[], lines: readonly Line[] = []): HoverSummary {
  const oscillations = swingsHz.map((frequencyHz) => ({
    frequencyHz,
    frequencyStdHz: 0.05,
    origin: 'rate-loop',
    confidence: 0.8,
    regime: 'limit-cycle',
    follows: null,
  }));
  const vibration = {
    lines: lines.map(({ hz, kind = 'structure', order = null, axis = 'x' }) => ({
      sensor: 'gyro',
      axis,
      frequencyHz: hz,
      frequencyStdHz: 0.02,
      kind,
      order,
      confidence: 0.7,
    })),
  };
  return { diagnosis: { axes: { roll: { oscillations } }, vibration } } as unknown as HoverSummary;
}

const followed = (hovers: readonly HoverSummary[], builds = hovers.map(() => 0)): number[][] =>
  followAxis(hovers, builds, 'roll').map((chain) => chain.map(({ hz }) => hz));

describe('lines from hover to hover', () => {
  test('a swing may move by a third, a line of the gyro stays', () => {
    expect(followed([hover([6]), hover([8])])).toEqual([[6, 8]]);
    expect(followed([hover([], [{ hz: 30 }]), hover([], [{ hz: 30.5 }])])).toEqual([[30, 30.5]]);
    expect(followed([hover([], [{ hz: 30 }]), hover([], [{ hz: 34 }])])).toEqual([]);
  });

  test('each goes with the nearest, whichever comes first', () => {
    expect(followed([hover([10, 12]), hover([11.8, 10.1])])).toEqual([
      [10, 10.1],
      [12, 11.8],
    ]);
  });

  test('what swings and shakes the gyro at one frequency is one line, and a swing that dies stays followed', () => {
    const chains = followAxis([hover([20], [{ hz: 20.1 }]), hover([], [{ hz: 20.1 }])], [0, 0], 'roll');
    expect(chains.map((chain) => chain.map(({ oscillates }) => oscillates))).toEqual([[true, false]]);
  });

  test.each([
    ['of a rotor', { hz: 20, kind: 'rotor', order: 1 }],
    ['of the mains', { hz: 20, kind: 'electrical' }],
    ['of another axis', { hz: 20, axis: 'y' }],
    ['faster than any loop', { hz: 60 }],
  ])('a line %s is none of these', (_name, line) => {
    expect(followed([hover([], [line]), hover([], [line])])).toEqual([]);
  });

  test('nothing is followed from one build to another', () => {
    expect(followed([hover([6]), hover([6])], [0, 1])).toEqual([]);
  });
});
