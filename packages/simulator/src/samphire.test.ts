import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import type { FlightConfig } from './config.js';
import { toCsvFiles } from './csv.js';
import { demoCsv, samphireHovers } from './samphire.js';
import { samphireRecord } from './samphire-record.js';
import { simulateFlight } from './simulate.js';
import { trueLine } from './true-line.js';

const fixtures = fileURLToPath(new URL('../../../fixtures', import.meta.url));

interface Settings {
  clockStartS: number;
  seed: number;
  config: FlightConfig;
}

const names = samphireHovers().map((h) => h.name);

describe('the demo flights in the repository', () => {
  test.each(names)('%s follows from its settings file', (name) => {
    const settings = JSON.parse(readFileSync(join(fixtures, 'settings', `${name}.json`), 'utf8')) as Settings;
    const files = toCsvFiles(simulateFlight(settings.config, settings.seed), demoCsv(settings));
    expect(readdirSync(join(fixtures, name)).sort()).toEqual(files.map((f) => f.name).sort());
    for (const file of files) {
      const kept = readFileSync(join(fixtures, name, file.name), 'utf8').split('\n');
      const made = file.text.split('\n');
      expect(kept[0]).toBe(made[0]);
      expect(kept.length).toBe(made.length);
      // Another engine may round a last digit of a sine differently: cells are compared as numbers.
      kept.forEach((line, i) => {
        const cells = line.split(',');
        made[i]!.split(',').forEach((cell, j) => {
          if (cell === cells[j]) return;
          const [a, b] = [Number(cell), Number(cells[j])];
          expect(Math.abs(a - b)).toBeLessThan(0.02 * Math.max(1, Math.abs(a)));
        });
      });
    }
  });

  test.each(samphireHovers())(
    'the settings of $name are those of the generator',
    ({ name, seed, clockStartS, config }) => {
      const kept = JSON.parse(readFileSync(join(fixtures, 'settings', `${name}.json`), 'utf8')) as Settings;
      expect(kept).toEqual(JSON.parse(JSON.stringify({ clockStartS, seed, config })));
    },
  );
});

test('the record in the repository is that of the generator', () => {
  const kept = readFileSync(join(fixtures, 'samphire-record.json'), 'utf8');
  expect(JSON.parse(kept)).toEqual(JSON.parse(samphireRecord(samphireHovers())));
});

describe('the story of the tuning record', () => {
  const flights = samphireHovers().map((h) => simulateFlight(h.config, h.seed).truth);
  const rms = (flight: number, key: 'roll' | 'pitch' | 'p' | 'q'): number => {
    const { airborne, motion } = flights[flight]!;
    const inside = motion[key].filter(
      (_, i) => motion.timeS[i]! > airborne!.startS && motion.timeS[i]! < airborne!.endS,
    );
    return (Math.sqrt(inside.reduce((sum, v) => sum + v * v, 0) / inside.length) * 180) / Math.PI;
  };

  test('hover 1: the pitch rate loop is unstable by itself, swings by tens of degrees per second, and is landed', () => {
    const { axes, airborne } = flights[0]!;
    expect(axes.pitch.margins.rate.stable).toBe(false);
    expect(axes.roll.margins.rate.stable).toBe(true);
    const line = trueLine(flights[0]!, 'pitch', airborne!, axes.pitch.dominant!.frequencyHz);
    expect((line.rateAmplitudeRadS * 180) / Math.PI).toBeGreaterThan(25);
    expect((airborne!.endS - airborne!.startS) * line.frequencyHz).toBeGreaterThan(8);
    expect(airborne!.endS - airborne!.startS).toBeLessThan(8);
  });

  test('hover 2: pitch has its margins, roll has far more than it needs and wanders', () => {
    const { axes } = flights[1]!;
    expect(axes.pitch.margins.rate.phaseMarginDeg).toBeGreaterThan(45);
    expect(axes.roll.margins.rate.gainMarginDb! - axes.pitch.margins.rate.gainMarginDb!).toBeGreaterThan(10);
    expect(rms(1, 'roll')).toBeGreaterThan(3 * rms(2, 'roll'));
  });

  test.each([2, 3, 4])('hover %i + 1: every axis has 6 dB and 45°', (i) => {
    for (const axis of ['roll', 'pitch', 'yaw'] as const) {
      const { rate, attitude } = flights[i]!.axes[axis].margins;
      for (const m of [rate, attitude]) {
        expect(m.stable).toBe(true);
        expect(m.gainMarginDb).toBeGreaterThan(6);
        expect(m.phaseMarginDeg).toBeGreaterThan(45);
      }
    }
  });

  test('rotors turn at the speed that carries 5.9 kg on 17-inch props with C_T 0.11: 55.6 per second', () => {
    expect(flights[2]!.rotorHz!.mean).toBeGreaterThan(54.5);
    expect(flights[2]!.rotorHz!.mean).toBeLessThan(56.5);
  });
});
