import type { AxisName, BodyAxis } from './flight.js';

/**
 * The words of the trade: flight mechanics (ISO 1151), control engineering, machinery vibration, and their plain
 * English abbreviations. Nothing here is the name of a column in any one program's log.
 */
export type QuantityWord =
  | 'gyro' | 'accel' | 'rate' | 'attitude' | 'motor' | 'rotor' | 'speed' | 'stick' | 'throttle' | 'height' | 'battery' | 'voltage' | 'current' | 'mode'; // prettier-ignore
export type RoleWord =
  | 'reference' | 'measured' | 'error' | 'demand' | 'proportional' | 'integral' | 'derivative' | 'feedforward'; // prettier-ignore

export type Token =
  | { readonly is: 'quantity'; readonly quantity: QuantityWord; readonly weak?: boolean }
  | {
      readonly is: 'axis';
      readonly axis: AxisName;
      readonly implies?: 'attitude' | 'rate';
      readonly letter?: boolean;
    }
  | { readonly is: 'body-axis'; readonly axis: BodyAxis }
  | { readonly is: 'role'; readonly role: RoleWord; readonly filtered?: boolean; readonly letter?: boolean }
  | { readonly is: 'index'; readonly index: number }
  | { readonly is: 'dot' }
  | { readonly is: 'angular' }
  | { readonly is: 'velocity' }
  | { readonly is: 'raw' }
  | { readonly is: 'neutral' }
  | { readonly is: 'blocked' }
  | { readonly is: 'unknown' };

const QUANTITIES: Record<QuantityWord, string> = {
  gyro: 'gyro gyros gyr gyroscope gyroscopes',
  accel: 'accel acc acceleration accelerations accelerometer accelerometers specific-force',
  rate: 'rate rates angvel omega w angular-velocity angular-rate angular-speed body-rate turn-rate',
  attitude: 'attitude att angle angles euler orientation inclination tilt',
  motor: 'motor motors mot esc actuator',
  rotor: 'rotor rotors prop props propeller propellers',
  speed: 'speed rpm revs revolutions',
  stick: 'stick sticks pilot joystick inceptor transmitter rc',
  throttle: 'throttle thr thrust collective',
  height: 'height altitude alt agl',
  battery: 'battery batt bat pack supply',
  voltage: 'voltage volt volts',
  current: 'current currents amps amperage',
  mode: 'mode',
};

const ROLES: Record<RoleWord, string> = {
  reference: 'reference ref setpoint set-point sp target desired des commanded command commands cmd requested request wanted goal demanded', // prettier-ignore
  measured: 'measured meas measurement actual act estimate estimated est feedback fb response true real observed sensed', // prettier-ignore
  error: 'error err deviation',
  demand: 'demand output out effort control ctrl actuation',
  proportional: 'proportional proportion pterm',
  integral: 'integral integrator integ iterm',
  derivative: 'derivative deriv differential dterm',
  feedforward: 'feedforward feed-forward ff ffterm',
};

const AXES: Record<AxisName, string> = { roll: 'roll bank', pitch: 'pitch', yaw: 'yaw heading' };
const NEUTRAL =
  'imu sensor sensors body frame axis value values val data log signal of the in about around term terms pid loop controller vehicle aircraft uav component vector input channel inertial baro barometric linear flight state'; // prettier-ignore
/** A column with one of these is about something else, whatever its other words. */
const BLOCKED =
  'temperature temp mag magnetometer magnetic compass bias offset variance var covariance cov std sigma stddev noise gain gains limit limits max min maximum minimum flag flags status valid health count counter id crc innovation innovations quaternion quat gps gnss position pos latitude longitude lat lon distance jerk pressure cell cells erpm electrical fft spectrum psd amplitude frequency freq norm magnitude abs absolute rms total sum delta diff weight mass inertia wind airspeed ground servo surface elevator rudder aileron gimbal camera kp ki kd scale factor calibration time timestamp sample sampling update climb descent vertical horizontal lateral power energy consumed capacity percentage remaining torque moment force'; // prettier-ignore

const LEXICON = new Map<string, Token>();
const PHRASES = new Map<string, Token>();

function enter(list: string, token: Token): void {
  for (const word of list.split(' ')) {
    if (word.includes('-')) PHRASES.set(word.replace('-', ' '), token);
    LEXICON.set(word.replace('-', ''), token);
  }
}

for (const [quantity, list] of Object.entries(QUANTITIES))
  enter(list, { is: 'quantity', quantity: quantity as QuantityWord });
for (const [role, list] of Object.entries(ROLES)) enter(list, { is: 'role', role: role as RoleWord });
for (const [axis, list] of Object.entries(AXES)) enter(list, { is: 'axis', axis: axis as AxisName });
enter('filtered filt', { is: 'role', role: 'measured', filtered: true });
enter('pwm', { is: 'quantity', quantity: 'motor', weak: true });
enter('thrust', { is: 'quantity', quantity: 'throttle', weak: true });
enter('w', { is: 'quantity', quantity: 'rate', weak: true });
enter('phi', { is: 'axis', axis: 'roll', implies: 'attitude' });
enter('theta', { is: 'axis', axis: 'pitch', implies: 'attitude' });
enter('psi', { is: 'axis', axis: 'yaw', implies: 'attitude' });
enter('p', { is: 'axis', axis: 'roll', implies: 'rate', letter: true });
enter('q', { is: 'axis', axis: 'pitch', implies: 'rate', letter: true });
enter('r', { is: 'axis', axis: 'yaw', implies: 'rate', letter: true });
enter('i', { is: 'role', role: 'integral', letter: true });
enter('d', { is: 'role', role: 'derivative', letter: true });
enter('f', { is: 'role', role: 'feedforward', letter: true });
enter('u', { is: 'role', role: 'demand', letter: true });
for (const axis of ['x', 'y', 'z'] as const) enter(axis, { is: 'body-axis', axis });
enter('dot', { is: 'dot' });
enter('angular ang', { is: 'angular' });
enter('velocity vel', { is: 'velocity' });
enter('raw unfiltered', { is: 'raw' });
enter(NEUTRAL, { is: 'neutral' });
enter(BLOCKED, { is: 'blocked' });

/** Short forms that hold a quantity and a body axis in two letters. */
const PAIRS: ReadonlyMap<string, QuantityWord> = new Map([
  ['a', 'accel'],
  ['g', 'gyro'],
  ['w', 'rate'],
]);
/** Words too short or too common to be found inside a longer word. */
const WHOLE_ONLY = new Set(['act', 'des', 'out', 'in', 'of', 'the', 'val', 'id', 'min', 'max', 'std', 'var', 'cov', 'alt', 'bat', 'mot', 'thr', 'est', 'rc', 'sum', 'lat', 'lon', 'pos', 'abs', 'mag', 'err', 'true', 'real', 'log', 'bank']); // prettier-ignore
const LONGEST_WORD = 24;

/** Reads words as tokens; phrases first, and words run together (`rollrate`, `gyrox`) taken apart. */
export function tokenize(words: readonly string[]): readonly Token[] {
  const tokens: Token[] = [];
  for (let i = 0; i < words.length; i++) {
    const phrase = i + 1 < words.length ? PHRASES.get(`${words[i]!} ${words[i + 1]!}`) : undefined;
    if (phrase) {
      tokens.push(phrase);
      i++;
    } else tokens.push(...tokensOf(words[i]!));
  }
  return tokens;
}

function tokensOf(word: string): readonly Token[] {
  if (/^\d+$/.test(word)) return [{ is: 'index', index: word.length > 3 ? NaN : Number(word) }];
  const whole = LEXICON.get(word);
  if (whole) return [whole];
  const pair = /^([agw])([xyz])$/.exec(word);
  if (pair)
    return [
      { is: 'quantity', quantity: PAIRS.get(pair[1]!)!, weak: true },
      { is: 'body-axis', axis: pair[2] as BodyAxis },
    ];
  return (word.length <= LONGEST_WORD ? takeApart(word, 3) : null) ?? [{ is: 'unknown' }];
}

/** Splits a run-together word into at most `most` known words; only the last may be a single axis letter. */
function takeApart(word: string, most: number): readonly Token[] | null {
  if (most === 0) return null;
  for (let length = Math.min(word.length, 14); length >= 2; length--) {
    const head = word.slice(0, length);
    const token = LEXICON.get(head);
    if (!token || (WHOLE_ONLY.has(head) && length < word.length && most === 3)) continue;
    const rest = word.slice(length);
    if (rest === '') return [token];
    if (/^[xyz]$/.test(rest)) return [token, LEXICON.get(rest)!];
    const tail = takeApart(rest, most - 1);
    if (tail) return [token, ...tail];
  }
  return null;
}
