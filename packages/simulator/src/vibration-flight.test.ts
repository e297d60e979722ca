import { describe, expect, test } from 'vitest';
import { isSound } from './random-flight.js';
import { flyVibration, vibrationFlight } from './vibration-flight.js';

const flights = Array.from({ length: 60 }, (_, i) => vibrationFlight(9000 + i));

describe('flights that shake', () => {
  test('are the same for the same seed', () => {
    expect(vibrationFlight(7)).toEqual(vibrationFlight(7));
    expect(vibrationFlight(7)).not.toEqual(vibrationFlight(8));
  });

  test('are of every kind, one in six quiet, every loop well damped', () => {
    expect(flights.filter((f) => f.quiet).length).toBe(10);
    for (const is of [
      (f: (typeof flights)[0]) => f.speedChannel,
      (f: (typeof flights)[0]) => f.throttle === 'heave',
      (f: (typeof flights)[0]) => f.throttle === 'load',
      (f: (typeof flights)[0]) => f.aliased,
      (f: (typeof flights)[0]) => (f.config.vibration.structure ?? []).length > 0,
      (f: (typeof flights)[0]) => f.config.vibration.electrical !== undefined,
      (f: (typeof flights)[0]) => f.config.rotors.blades === 3,
    ]) {
      const count = flights.filter(is).length;
      expect(count).toBeGreaterThanOrEqual(5);
      expect(count).toBeLessThanOrEqual(45);
    }
    expect(flights.every((f) => isSound(f.config))).toBe(true);
  });

  test('leave the motors off their stops, and quiet ones nothing over the noise', () => {
    for (const seed of [9001, 9005, 9010]) {
      const { sim, flight } = flyVibration(seed);
      expect(sim.truth.clippedShare).toBeLessThan(0.01);
      const { lines, sensors } = sim.truth.vibration!.airborne!;
      const strongestDb = Math.max(
        ...lines.map((line) => {
          const own = sensors.find((s) => s.sensor === line.sensor && s.axis === line.axis)!;
          return 10 * Math.log10(line.rms ** 2 / own.floorAt(line.loggedHz));
        }),
      );
      expect(strongestDb < -5).toBe(flight.quiet);
    }
  });
});
