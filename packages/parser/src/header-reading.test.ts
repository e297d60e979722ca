import { describe, expect, test } from 'vitest';
import { readHeader } from './header-reading.js';
import { parseUnit, unitNamed } from './units.js';
import { splitHeader } from './words.js';

const meaningOf = (header: string, unitText = '', context = ''): string | null => {
  const meaning = readHeader(header, unitText, context).readings[0]?.meaning;
  if (!meaning) return null;
  if ('family' in meaning) return `${meaning.family} ${String(meaning.index)}`;
  return meaning.error ? `${meaning.channel} (error)` : meaning.channel;
};

describe('headers are read by meaning', () => {
  test.each([
    // attitude
    ['roll', 'attitude.roll.measured'],
    ['Pitch [deg]', 'attitude.pitch.measured'],
    ['yaw (rad)', 'attitude.yaw.measured'],
    ['Heading', 'attitude.yaw.measured'],
    ['bank angle', 'attitude.roll.measured'],
    ['φ', 'attitude.roll.measured'],
    ['theta', 'attitude.pitch.measured'],
    ['ψ_ref', 'attitude.yaw.reference'],
    ['Euler_X', 'attitude.roll.measured'],
    ['rollSetpoint', 'attitude.roll.reference'],
    ['desired pitch', 'attitude.pitch.reference'],
    ['roll_cmd', 'attitude.roll.reference'],
    ['attitude roll estimated', 'attitude.roll.measured'],
    ['pitch_error', 'attitude.pitch.reference (error)'],
    // body rates
    ['p', 'rate.roll.measured'],
    ['q [deg/s]', 'rate.pitch.measured'],
    ['r_ref', 'rate.yaw.reference'],
    ['roll rate', 'rate.roll.measured'],
    ['rollRate', 'rate.roll.measured'],
    ['rollrate', 'rate.roll.measured'],
    ['PITCH_RATE_SETPOINT', 'rate.pitch.reference'],
    ['yawRateTarget', 'rate.yaw.reference'],
    ['angular velocity x (rad/s)', 'rate.roll.measured'],
    ['angular_velocity.z', 'rate.yaw.measured'],
    ['omega_y', 'rate.pitch.measured'],
    ['ω_x', 'rate.roll.measured'],
    ['wx', 'rate.roll.measured'],
    ['roll_deg_s', 'rate.roll.measured'],
    ['rate error roll', 'rate.roll.reference (error)'],
    ['roll rate actual', 'rate.roll.measured'],
    ['roll rate feedback', 'rate.roll.measured'],
    // gyro and accelerometer
    ['Gyr_X', 'gyro.x'],
    ['gyro y', 'gyro.y'],
    ['Gyroscope z (rad/s)', 'gyro.z'],
    ['gyroX', 'gyro.x'],
    ['gyro[2]', null],
    ['gyro roll', 'gyro.x'],
    ['gz', 'gyro.z'],
    ['Acc_Z', 'accel.z'],
    ['acceleration.x', 'accel.x'],
    ['ay (m/s^2)', 'accel.y'],
    ['specific force z', 'accel.z'],
    // controller
    ['roll_p', 'rate.roll.proportional'],
    ['pitch P term', 'rate.pitch.proportional'],
    ['yaw integral', 'rate.yaw.integral'],
    ['roll rate D', 'rate.roll.derivative'],
    ['pitch_ff', 'rate.pitch.feedforward'],
    ['feed forward yaw', 'rate.yaw.feedforward'],
    ['roll demand', 'rate.roll.demand'],
    ['pitch controller output', 'rate.pitch.demand'],
    ['u_yaw', 'rate.yaw.demand'],
    ['roll rate demand [deg/s]', 'rate.roll.reference'],
    // airframe
    ['motor 1', 'motor 1'],
    ['motor[0]', 'motor 0'],
    ['Motor3Command', 'motor 3'],
    ['esc 2 output', 'motor 2'],
    ['pwm 3', 'motor 3'],
    ['motor 4 rpm', 'rotor 4'],
    ['rotor 2 speed', 'rotor 2'],
    ['motor 1 (Hz)', 'rotor 1'],
    ['stick roll', 'stick.roll'],
    ['pilot_throttle', 'stick.throttle'],
    ['throttle', 'throttle'],
    ['collective [%]', 'throttle'],
    ['altitude (m)', 'height'],
    ['height', 'height'],
    ['battery voltage', 'battery.voltage'],
    ['Battery [V]', 'battery.voltage'],
    ['supply current (A)', 'battery.current'],
    ['flight mode', 'mode'],
    // nothing this program reads
    ['Channel 1', null],
    ['x', null],
    ['temperature', null],
    ['Absolute (rad/s)', null],
    ['mag_x', null],
    ['gyro_x_bias', null],
    ['velocity x', null],
    ['position z', null],
    ['height reference', null],
    ['climb rate', null],
    ['motor 1 current', null],
    ['motor temperature 2', null],
    ['cell voltage', null],
    ['loop rate', null],
    ['__proto__', null],
    ['constructor', null],
    ['', null],
  ])('"%s" is %s', (header, expected) => {
    expect(meaningOf(header)).toBe(expected);
  });

  test('a units row tells an acceleration from a rate', () => {
    expect(meaningOf('x', 'm/s²')).toBe('accel.x');
    expect(meaningOf('x', 'rad/s')).toBe('rate.roll.measured');
  });
  test('the kind of a row completes the header', () => {
    expect(meaningOf('x', '', 'gyro')).toBe('gyro.x');
    expect(meaningOf('value', '', 'rate_roll_ref')).toBe('rate.roll.reference');
    expect(meaningOf('roll', '', 'rates')).toBe('rate.roll.measured');
  });
  test('a plain name outscores one with unknown words', () => {
    const score = (header: string): number => readHeader(header, '', '').readings[0]!.score;
    expect(score('gyro x')).toBeGreaterThan(score('gyro x spare'));
    expect(score('roll measured')).toBeGreaterThan(score('roll'));
  });
});

describe('units are read from brackets, suffixes and units rows', () => {
  test.each([
    ['gyro x [deg/s]', '', 'deg/s'],
    ['gyro_x_dps', '', 'deg/s'],
    ['gyro_x_rad_s', '', 'rad/s'],
    ['gyro x, rad/s', '', 'rad/s'],
    ['accel_z_m_s2', '', 'm/s²'],
    ['accel_z_mss', '', 'm/s²'],
    ['accel z (g)', '', 'g'],
    ['acc_z_g', '', 'g'],
    ['roll_deg', '', 'deg'],
    ['roll', '°', 'deg'],
    ['gyro x', '°/s', 'deg/s'],
    ['gyro x', '[rad/s]', 'rad/s'],
    ['rotor 1 (rpm)', '', 'rpm'],
    ['throttle [%]', '', '%'],
    ['battery_mV', '', 'mV'],
  ])('"%s" with units row "%s" is in %s', (header, unitText, expected) => {
    expect(readHeader(header, unitText, '').unit?.name).toBe(expected);
  });
  test.each([
    ['deg·s⁻¹', 'deg/s'],
    ['rad s^-1', 'rad/s'],
    ['rad/sec', 'rad/s'],
    ['m/s/s', 'm/s²'],
    ['m s-2', 'm/s²'],
    ['degrees per second', 'deg/s'],
    ['µs', 'us'],
    ['mrad/s', 'mrad/s'],
    ['rev/min', 'rpm'],
    ['Hz', 'rev/s'],
  ])('%s is %s', (text, expected) => {
    expect(parseUnit(text)?.name).toBe(expected);
  });
  test('speed is no time although both are spelled with m and s', () => {
    expect(parseUnit('m/s')).toBeNull();
    expect(parseUnit('ms')).toEqual(unitNamed('ms'));
  });
  test('a letter at the end is a unit only where it fits', () => {
    expect(readHeader('rate_roll_p', '', '').unit).toBeNull();
    expect(readHeader('motor 1 (A)', '', '').readings).toEqual([]);
  });
});

test('headers come apart at separators, camel case and digits', () => {
  expect(splitHeader('rollRate_sp2 [deg/s]')).toEqual({
    words: ['roll', 'rate', 'sp', '2'],
    bracketed: ['deg/s'],
  });
  expect(splitHeader('IMURate')).toEqual({ words: ['imu', 'rate'], bracketed: [] });
});
