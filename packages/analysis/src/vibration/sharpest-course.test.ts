/** How rotors in their places follow commands whose course was made, wherever the search began. */
import { expect, test } from 'vitest';
import { calmFlight, feltBy } from '../../../../tests/support/calm-flight.js';
import { angleOf } from './order-lines.js';
import { speedsFrom } from './relative-speeds.js';
import { withSharpestCourse } from './sharpest-course.js';

const ROTORS_HZ = [85, 91.5, 86, 90.5];

test.for([1, 2, 3])(
  'speeds that go with the root of the command are told, from another power and lag, seed %i',
  (seed) => {
    const flight = calmFlight(ROTORS_HZ, seed);
    const record = feltBy(flight, 500, [1, 2], seed + 10);
    const { commands } = flight;
    const rotors = speedsFrom(commands, 0.9, 0.1).map(({ rotor, speed }, r) => ({
      ...angleOf(rotor, speed, ROTORS_HZ[r]!, record),
      speed,
    }));
    const placed = {
      commands,
      baseHz: 88.25,
      power: 0.9,
      lagS: 0.1,
      rotors,
      shown: 4,
      held: 1,
      byOrder: [1],
    };
    const found = withSharpestCourse(placed, [record], 14);
    expect(found.power).toBe(0.5);
    expect(found.lagS).toBe(0.06);
    expect(found.rotors.map(({ meanHz }) => meanHz)).toEqual(ROTORS_HZ);
  },
);

test('rotors that turn steadily stay so', () => {
  const flight = calmFlight(ROTORS_HZ, 4);
  const record = feltBy(flight, 500, [1, 2], 14);
  const speed = { startS: 0, stepS: 0.01, values: new Float64Array(3001).fill(1) };
  const rotors = ROTORS_HZ.map((hz) => ({ ...angleOf(null, speed, hz, record), speed }));
  const placed = {
    commands: flight.commands,
    baseHz: 88.25,
    power: 0.5,
    lagS: 0.06,
    rotors,
    shown: 4,
    held: 1,
    byOrder: [1],
  };
  expect(withSharpestCourse(placed, [record], 14)).toBe(placed);
});
