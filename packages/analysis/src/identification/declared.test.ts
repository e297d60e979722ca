import { parseGains } from '@settle/parser';
import { describe, expect, it } from 'vitest';
import { near } from '../../../../tests/support/near.js';
import { declaredController } from './declared.js';

const file = (unit: string | null, more: object = {}) =>
  parseGains(
    JSON.stringify({
      gains: {
        ...(unit === null ? {} : { unit }),
        rate: { roll: { kp: 0.002, ki: 0.01, kd: 0.0001, kff: 0.003 } },
        attitude: { roll: { kp: 6 } },
      },
      ...more,
    }),
    'gains.json',
  );

describe('declaredController', () => {
  it('multiplies all four gains per deg/s by 180/π, and leaves the attitude gain, 1/s, alone', () => {
    const told = declaredController(file('deg/s'));
    const { kp, ki, kd, kff } = told.rate.roll;
    near(kp, 0.36 / Math.PI, 1e-12);
    near(ki, 1.8 / Math.PI, 1e-12);
    near(kd, 0.018 / Math.PI, 1e-12);
    near(kff, 0.54 / Math.PI, 1e-12);
    near(told.attitude.roll, 6, 1e-12);
    expect(told.rateUnitDeclared).toBe(true);
    expect(told.attitudeUnitDeclared).toBe(true);
  });

  it('takes gains per rad/s as they stand', () => {
    const told = declaredController(file('rad/s'));
    expect(told.rate.roll).toEqual({ kp: 0.002, ki: 0.01, kd: 0.0001, kff: 0.003 });
    expect(told.rateUnitDeclared).toBe(true);
  });

  it('takes gains without a unit as they stand and says that nobody declared it', () => {
    const told = declaredController(file(null));
    expect(told.rate.roll.kp).toBe(0.002);
    expect(told.rateUnitDeclared).toBe(false);
    expect(told.attitudeUnitDeclared).toBe(false);
  });

  it('leaves gains in another unit out altogether', () => {
    const told = declaredController(file('clicks of the dial'));
    expect(told.rate.roll).toEqual({ kp: null, ki: null, kd: null, kff: null });
    expect(told.attitude.roll).toBeNull();
  });

  it('leaves axes nobody told of out: null, never zero', () => {
    const told = declaredController(file('rad/s'));
    expect(told.rate.pitch).toEqual({ kp: null, ki: null, kd: null, kff: null });
    expect(told.attitude.yaw).toBeNull();
  });

  it('passes filters and loop rate on in Hz, and null where they are not told', () => {
    const told = declaredController(
      file('rad/s', { filters: { gyroLowPassHz: 60, derivativeLowPassHz: 25 }, loopRateHz: 400 }),
    );
    expect([told.gyroLowPassHz, told.derivativeLowPassHz, told.loopRateHz]).toEqual([60, 25, 400]);
    const untold = declaredController(file('rad/s'));
    expect([untold.gyroLowPassHz, untold.derivativeLowPassHz, untold.loopRateHz]).toEqual([null, null, null]);
  });
});
