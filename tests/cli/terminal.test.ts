import { describe, expect, test } from 'vitest';
import { describeTerminal } from '../../packages/cli/src/terminal.js';

describe('what a terminal may show', () => {
  const terminal = { isTTY: true, columns: 132 };

  test('a terminal has its own width, colour and drawings', () => {
    expect(describeTerminal(terminal, {})).toEqual({ width: 132, colour: true, drawings: true });
  });

  test('a pipe gets 100 columns, no colour, no drawings', () => {
    expect(describeTerminal({}, {})).toEqual({ width: 100, colour: false, drawings: false });
  });

  test('COLUMNS sets the width of a pipe; what is no width is ignored', () => {
    expect(describeTerminal({}, { COLUMNS: '72' }).width).toBe(72);
    expect(describeTerminal({}, { COLUMNS: 'wide' }).width).toBe(100);
    expect(describeTerminal({}, { COLUMNS: '-3' }).width).toBe(100);
  });

  test.each([{ NO_COLOR: '1' }, { TERM: 'dumb' }])(
    '%j takes the colour and leaves the rest',
    (environment) => {
      expect(describeTerminal(terminal, environment)).toEqual({ width: 132, colour: false, drawings: true });
    },
  );

  test('an empty NO_COLOR counts as not set (no-color.org)', () => {
    expect(describeTerminal(terminal, { NO_COLOR: '' }).colour).toBe(true);
  });
});
