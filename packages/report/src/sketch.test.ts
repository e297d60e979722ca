import { describe, expect, test } from 'vitest';
import { sketchLines } from './sketch.js';

const LINEAR = { x: false, y: false };
const sketch = (points: readonly (readonly [number, number])[], logarithmic = LINEAR) => ({
  x: 'time, s',
  y: 'rate, deg/s',
  logarithmic,
  points,
});

describe('a small plot for a terminal', () => {
  test('a rising line runs from the lower left to the upper right, within the width, ends named', () => {
    const lines = sketchLines(
      sketch([
        [0, 0],
        [10, 50],
      ]),
      60,
    );
    expect(Math.max(...lines.map((line) => line.length))).toBeLessThanOrEqual(60);
    expect(lines[0]).toBe('  rate, deg/s');
    const dots = lines.slice(1, -1).map((line) => /[\u2801-\u28ff]/.exec(line)!.index);
    expect(dots).toEqual([...dots].sort((a, b) => b - a));
    expect(lines[1]).toMatch(/^ +50 /);
    expect(lines.at(-2)).toMatch(/^ +0 /);
    expect(lines.at(-1)).toMatch(/ 0 +time, s +10$/);
  });

  test('a logarithmic plot is a straight line where a power law is drawn, and leaves out what has no logarithm', () => {
    const power = [0, 1, 3, 10, 30, 100].map((x) => [x, x * x] as const);
    const lines = sketchLines(sketch(power, { x: true, y: true }), 50).slice(1, -1);
    const places = lines.map((line) => /[\u2801-\u28ff]/.exec(line)!.index);
    const steps = places.slice(1).map((place, i) => places[i]! - place);
    expect(Math.max(...steps) - Math.min(...steps)).toBeLessThanOrEqual(2);
  });

  test('too narrow, or nothing to tell apart: no plot', () => {
    expect(
      sketchLines(
        sketch([
          [0, 0],
          [10, 50],
        ]),
        20,
      ),
    ).toEqual([]);
    expect(sketchLines(sketch([[0, 1]]), 60)).toEqual([]);
    expect(
      sketchLines(
        sketch([
          [0, 1],
          [1, 1],
        ]),
        60,
      ),
    ).toEqual([]);
  });
});
