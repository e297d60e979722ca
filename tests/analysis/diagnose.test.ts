import { CannotAnalyse, diagnose, isUnavailable } from '@settle/analysis';
import { describe, expect, it } from 'vitest';
import { madeFlight } from '../support/made-flight.js';
import { randomSource } from '../support/random.js';

const DEG = Math.PI / 180;
const noise = (seed: number, size: number): (() => number) => {
  const random = randomSource(seed);
  return () => size * random.normal();
};
const swing =
  (hz: number, degS: number, lagRad = 0) =>
  (t: number) =>
    degS * DEG * Math.cos(2 * Math.PI * hz * t - lagRad);
const angle = (hz: number, degS: number) => (t: number) =>
  ((degS * DEG) / (2 * Math.PI * hz)) * Math.sin(2 * Math.PI * hz * t);
const plus =
  (...parts: ((t: number) => number)[]) =>
  (t: number): number =>
    parts.reduce((sum, part) => sum + part(t), 0);

describe('diagnose on made flights', () => {
  it('measures a steady swing of 20 deg/s at 2.5 Hz: 1.27° of angle', () => {
    const { axes } = diagnose(
      madeFlight(20, {
        'rate.roll.measured': { hz: 100, at: plus(swing(2.5, 20), noise(1, 0.01)) },
        'attitude.roll.measured': { hz: 50, at: plus(angle(2.5, 20), noise(2, 0.0003)) },
      }),
    );
    const [line] = axes.roll.oscillations;
    expect(axes.roll.oscillations).toHaveLength(1);
    expect(line!.frequencyHz).toBeCloseTo(2.5, 2);
    expect(line!.rateAmplitudeDegS).toBeCloseTo(20, 0);
    expect(line!.attitudeAmplitudeDeg).toBeCloseTo(1.27, 1);
    expect(axes.pitch.notSearched).toContain('pitch');
    expect(axes.pitch.oscillations).toEqual([]);
  });

  it('gives rate and angle from attitude alone', () => {
    const { axes } = diagnose(
      madeFlight(20, { 'attitude.pitch.measured': { hz: 50, at: plus(angle(1.5, 30), noise(3, 0.0005)) } }),
    );
    expect(axes.pitch.oscillations[0]!.rateAmplitudeDegS).toBeCloseTo(30, 0);
    expect(axes.pitch.oscillations[0]!.attitudeAmplitudeDeg).toBeCloseTo(3.18, 1);
  });

  it('takes a line whose angle does not move for vibration, not for an oscillation', () => {
    const diagnosis = diagnose(
      madeFlight(20, {
        'rate.roll.measured': { hz: 100, at: plus(swing(6, 12), noise(4, 0.01)) },
        'attitude.roll.measured': { hz: 50, at: noise(5, 0.0003) },
      }),
    );
    expect(diagnosis.axes.roll.oscillations).toEqual([]);
    expect(diagnosis.findings.map((finding) => finding.id)).toContain('aliased-vibration');
  });

  describe('a line whose angle does not move, while the demand answers it', () => {
    const shaken = (rateHz: number, demand: number) =>
      diagnose(
        madeFlight(20, {
          'rate.roll.measured': { hz: rateHz, at: plus(swing(16, 40), noise(6, 0.01)) },
          'attitude.roll.measured': { hz: 100, at: noise(7, 0.0003) },
          'rate.roll.demand': {
            hz: rateHz,
            at: plus((t) => demand * Math.cos(2 * Math.PI * 16 * t - 2), noise(8, 0.002)),
          },
        }),
      );

    it('is something that bends, where the log is too fast to fold anything that shakes so', () => {
      const { axes, findings } = shaken(400, 0.2);
      expect(axes.roll.oscillations[0]).toMatchObject({ origin: 'structure' });
      expect(axes.roll.oscillations[0]!.frequencyHz).toBeCloseTo(16, 1);
      const bends = findings.find(({ id }) => id === 'structural-resonance');
      expect(bends?.evidence.join(' ')).toMatch(/demand swings with it by ±20 % of full demand/);
      // It shows no rigid aircraft: no margin is read from it.
      expect(isUnavailable(axes.roll.margins.rate)).toBe(true);
    });

    it('may be folded down in a slower log: a fault, for the motors swing with it, and no wobble', () => {
      const { axes, findings } = shaken(50, 0.2);
      expect(axes.roll.oscillations).toEqual([]);
      expect(findings.find(({ id }) => id === 'aliased-vibration')).toMatchObject({ severity: 'fault' });
    });

    it('is vibration where the demand leaves it alone', () => {
      const { axes, findings } = shaken(400, 0.01);
      expect(axes.roll.oscillations).toEqual([]);
      expect(findings.find(({ id }) => id === 'aliased-vibration')).toMatchObject({ severity: 'note' });
    });
  });

  it('takes a line that a faster log of the gyro does not show for vibration', () => {
    // 94 Hz logged at 100 Hz folds to 6 Hz; at 400 Hz it stands where it is.
    const diagnosis = diagnose(
      madeFlight(20, {
        'rate.pitch.measured': { hz: 100, at: plus(swing(94, 12), noise(6, 0.01)) },
        'gyro.y': { hz: 400, at: plus(swing(94, 12), noise(7, 0.01)) },
      }),
    );
    expect(diagnosis.axes.pitch.oscillations).toEqual([]);
    expect(diagnosis.findings.map((finding) => finding.id)).toContain('aliased-vibration');
  });

  it('says that an axis only moves along with a larger swing of another', () => {
    const { axes } = diagnose(
      madeFlight(20, {
        'rate.roll.measured': { hz: 100, at: plus(swing(2, 40), noise(8, 0.01)) },
        'rate.yaw.measured': { hz: 100, at: plus(swing(2, 10, 1), noise(9, 0.01)) },
      }),
    );
    expect(axes.roll.oscillations[0]!.follows).toBeNull();
    expect(axes.yaw.oscillations[0]!.follows).toBe('roll');
  });

  it('calls a swing on the stops dangerous, and says which motor and how long', () => {
    const square = (t: number): number => (Math.sin(2 * Math.PI * 3 * t) > 0 ? 0.05 : 0.6);
    const { findings, advice, axes } = diagnose(
      madeFlight(12, {
        'rate.roll.measured': { hz: 100, at: plus(swing(3, 30), noise(10, 0.01)) },
        'motor.1.command': { hz: 100, at: square },
        'motor.2.command': { hz: 100, at: () => 0.5 },
      }),
    );
    expect(axes.roll.oscillations[0]!.clippedShare).toBeGreaterThan(0.4);
    expect(findings[0]).toMatchObject({ id: 'oscillation', severity: 'danger', axis: 'roll' });
    const stops = findings.find((finding) => finding.id === 'motor-saturation');
    expect(stops!.evidence.join()).toMatch(/motor 1 stood on its low stop for (49|50|51) %/);
    expect(advice.map((one) => one.kind)).toContain('do-not-fly');
  });

  it('reads trim, hover throttle, tracking error and battery off steady channels', () => {
    const diagnosis = diagnose(
      madeFlight(30, {
        'rate.roll.measured': { hz: 100, at: noise(11, 0.01) },
        'rate.roll.reference': { hz: 100, at: () => 5 * DEG },
        'rate.roll.demand': { hz: 50, at: () => 0.2 },
        throttle: { hz: 50, at: () => 0.47 },
        'battery.voltage': { hz: 10, at: (t) => 25 - 0.2 * t },
        'battery.current': { hz: 10, at: () => 40 },
      }),
    );
    if (isUnavailable(diagnosis.actuators) || isUnavailable(diagnosis.battery))
      throw new Error('unavailable');
    expect(diagnosis.actuators.hoverThrottle).toBeCloseTo(0.47, 9);
    expect(diagnosis.actuators.trim).toEqual({
      roll: expect.closeTo(0.2, 9) as number,
      pitch: null,
      yaw: null,
    });
    expect(diagnosis.battery.startV).toBeCloseTo(25, 0);
    expect(diagnosis.battery.lowestV).toBeCloseTo(19, 0);
    expect(diagnosis.battery.meanA).toBeCloseTo(40, 9);
    const { tracking } = diagnosis.axes.roll;
    if (isUnavailable(tracking)) throw new Error(tracking.unavailable);
    expect(tracking.rateErrorRmsDegS).toBeCloseTo(5, 0);
    const ids = diagnosis.findings.map((finding) => finding.id);
    expect(ids).toEqual(expect.arrayContaining(['trim-offset', 'battery-sag']));
  });

  it('names the hovers of the same log that it did not look at', () => {
    const { findings, analysed } = diagnose(
      madeFlight(35, {
        'rate.roll.measured': { hz: 100, at: noise(12, 0.01) },
        throttle: { hz: 50, at: (t) => ((t > 3 && t < 9) || (t > 14 && t < 30) ? 0.5 : 0.1) },
      }),
    );
    expect(analysed.startS).toBeGreaterThan(13);
    const other = findings.find((finding) => finding.id === 'other-hovers');
    expect(other?.evidence.join()).toMatch(/not analysed: 3\.\d to 8\.\d s/);
  });

  it('makes no line of a gap of two seconds, and finds a swing through one', () => {
    const holes =
      (at: (t: number) => number) =>
      (t: number): number =>
        t > 8 && t < 10 ? Number.NaN : at(t);
    const roll = { hz: 100, at: holes(plus(noise(13, 0.02), (t) => 0.2 * t)) };
    const pitch = { hz: 100, at: holes(plus(swing(2.2, 15), noise(14, 0.02))) };
    const { axes } = diagnose(madeFlight(25, { 'rate.roll.measured': roll, 'rate.pitch.measured': pitch }));
    expect(axes.roll.oscillations).toEqual([]);
    expect(axes.pitch.oscillations[0]!.frequencyHz).toBeCloseTo(2.2, 1);
  });

  it('doubts a fast line that could be a slow rotor, unless rotor speeds say otherwise', () => {
    const rate = { hz: 200, at: plus(swing(20, 30), noise(15, 0.02)) };
    const doubted = diagnose(madeFlight(10, { 'rate.roll.measured': rate })).axes.roll.oscillations[0]!;
    expect(doubted.evidence.join()).toContain('1200 revolutions per minute');
    const rotor = { hz: 10, at: () => 70 };
    const told = diagnose(madeFlight(10, { 'rate.roll.measured': rate, 'rotor.1.speed': rotor }));
    expect(told.axes.roll.oscillations[0]!.evidence.join()).not.toContain('revolutions per minute');
    // Below four fifths of its own speed is where oscillations are looked for; the rotor itself is vibration.
    const itself = diagnose(
      madeFlight(10, { 'rate.roll.measured': rate, 'rotor.1.speed': { hz: 10, at: () => 20 } }),
    );
    expect(itself.axes.roll.oscillations).toEqual([]);
  });

  it('looks only at the interval asked for', () => {
    const flight = madeFlight(40, {
      'rate.roll.measured': {
        hz: 100,
        at: (t) => (t > 20 ? swing(3, 20)(t) : 0) + 0.001 * Math.sin(7 * t * t),
      },
    });
    expect(diagnose(flight, { fromS: 1, toS: 18 }).axes.roll.oscillations).toEqual([]);
    expect(diagnose(flight, { fromS: 21, toS: 39 }).axes.roll.oscillations).toHaveLength(1);
  });

  it.each([
    [
      'no motion at all',
      madeFlight(10, { throttle: { hz: 50, at: () => 0.5 } }),
      {},
      'neither body rates nor attitude',
    ],
    [
      'an interval outside',
      madeFlight(10, { 'gyro.x': { hz: 50, at: () => 0 } }),
      { fromS: 20 },
      'the log has nothing from 20 s',
    ],
  ] as const)('cannot analyse %s, and says what to do', (_name, flight, options, message) => {
    expect(() => diagnose(flight, options)).toThrowError(CannotAnalyse);
    expect(() => diagnose(flight, options)).toThrowError(message);
  });

  it.each([
    ['constant channels', 20, 100, () => 0.3],
    [
      'mostly missing samples',
      20,
      100,
      (t: number) => (Math.floor(t * 100) % 3 === 0 ? 0.1 * Math.sin(t) : Number.NaN),
    ],
    ['nothing but missing samples', 20, 100, () => Number.NaN],
    ['a third of a second', 0.33, 100, (t: number) => t],
    ['five samples a second', 20, 5, (t: number) => Math.sin(t)],
  ] as const)('stays finite on %s', (_name, durationS, hz, at) => {
    const text = JSON.stringify(
      diagnose(
        madeFlight(durationS, { 'rate.roll.measured': { hz, at }, 'attitude.pitch.measured': { hz, at } }),
      ),
      (_key, value: unknown) => (typeof value === 'number' && !Number.isFinite(value) ? 'NOT FINITE' : value),
    );
    expect(text).not.toContain('NOT FINITE');
  });
});
