/**
 * What a diagnosis may still say when channels, rates or filters are missing: less, and nothing that the truth contradicts.
 */
import { AXES, parseGains, type AxisName, type ChannelName, type GainsFile } from '@settle/parser';
import { diagnose, isUnavailable, type Diagnosis, type Margins } from '@settle/analysis';
import {
  planTrialFlight,
  simulateFlight,
  simulateRandom,
  toFlight,
  toGainsFile,
  trialAircraft,
  type MarginTruth,
  type SimulatedFlight,
} from '@settle/simulator';
import { describe, expect, it } from 'vitest';
import { DIAGNOSIS_SCHEMA, schemaErrors } from '../support/contract-schema.js';

interface Flown {
  readonly sim: SimulatedFlight;
  /** Axis and origin of the swing that the flight was made for; null: none. */
  readonly swings: { readonly axis: AxisName; readonly origin: string } | null;
}

function labelled(kind: 'limit-cycle' | 'attitude-swing' | 'loose', seed: number): Flown {
  const { sim, shown } = simulateRandom(kind, seed);
  const first = shown[0];
  return { sim, swings: first === undefined ? null : { axis: first.axis, origin: first.origin } };
}

const FLIGHTS: Readonly<Record<string, Flown>> = {
  'tight-loop limit cycle': labelled('limit-cycle', 10_420),
  'attitude swing': labelled('attitude-swing', 10_421),
  'well-damped with stick doublets': (() => {
    const { good } = trialAircraft(10_424);
    return { sim: simulateFlight(planTrialFlight(good, false, 10_424).config, 10_424), swings: null };
  })(),
  loose: labelled('loose', 10_423),
};

const isTerm = (name: ChannelName): boolean => /\.(proportional|integral|derivative|feedforward)$/.test(name);
const isGyro = (name: ChannelName): boolean => name.startsWith('gyro.');
const isRate = (name: ChannelName): boolean => /^rate\.\w+\.measured$/.test(name);
const isAttitude = (name: ChannelName): boolean => /^attitude\.\w+\.measured$/.test(name);

interface Log {
  readonly has: (name: ChannelName) => boolean;
  /** Nothing that tells the controller, or nothing that tells the demand: no gain may be touched. */
  readonly noGains: boolean;
}

const LOGS: Readonly<Record<string, Log>> = {
  'no motor commands': { has: (name) => !name.startsWith('motor.'), noGains: false },
  'no demand': { has: (name) => !name.endsWith('.demand'), noGains: false },
  'no demand and no terms': { has: (name) => !name.endsWith('.demand') && !isTerm(name), noGains: true },
  'rates and motors only': { has: (name) => isRate(name) || name.startsWith('motor.'), noGains: true },
  'attitude and motors only': { has: (name) => isAttitude(name) || name.startsWith('motor.'), noGains: true },
  'no sticks': { has: (name) => !name.startsWith('stick.'), noGains: false },
  'no references': { has: (name) => !name.endsWith('.reference'), noGains: true },
  'rates only': { has: isRate, noGains: true },
  'gyro only': { has: isGyro, noGains: true },
  'attitude only': { has: isAttitude, noGains: true },
};

/** Every reason in a result, with its place. */
function reasonsIn(value: unknown, path = ''): [string, string][] {
  if (typeof value !== 'object' || value === null) return [];
  if ('unavailable' in value) return [[path, String(value.unavailable)]];
  return Object.entries(value).flatMap(([key, inner]) => reasonsIn(inner, `${path}/${key}`));
}

/** A gain margin further off than this, dB, and than three of its own standard deviations contradicts the truth. */
const ALLOWED_DB = 3;
/** Of a loop with less than this in hand nobody may say that it keeps 6 dB and 45°, nor of one with more that it is unstable. */
const UNSAFE_DB = 3;
const SOUND_DB = 6;

const isFar = (said: Margins, truth: MarginTruth): boolean =>
  said.gainMarginDb !== null &&
  truth.gainMarginDb !== null &&
  Math.abs(said.gainMarginDb - truth.gainMarginDb) > Math.max(ALLOWED_DB, 3 * (said.gainMarginStdDb ?? 0));

function misjudged(said: Margins, truth: MarginTruth): string[] {
  const trueDb = truth.gainMarginDb ?? 99;
  const keeps = said.stable && (said.gainMarginDb ?? 99) >= 6 && (said.phaseMarginDeg ?? 180) >= 45;
  if (keeps && (!truth.stable || trueDb < UNSAFE_DB))
    return [`said to keep 6 dB and 45°, true gain margin ${trueDb.toFixed(1)} dB`];
  if (!said.stable && truth.stable && trueDb > SOUND_DB)
    return [`called unstable, true gain margin ${trueDb.toFixed(1)} dB`];
  return [];
}

/** Gain margins given so far, and those of them that contradict the truth. */
const tally = { given: 0, far: [] as string[] };

/** What of a diagnosis the truth contradicts, or leaves without a usable reason. */
function faults(diagnosis: Diagnosis, { sim, swings }: Flown): string[] {
  const out = schemaErrors(DIAGNOSIS_SCHEMA, JSON.parse(JSON.stringify(diagnosis)));
  for (const [path, why] of reasonsIn(diagnosis)) {
    // What was not asked for, and a loop without a response, are no matter of the log.
    if (why === 'vibration was not asked for' || why.includes('is not stable')) continue;
    if (!/\b(log|fly|give)\b/.test(why)) out.push(`${path} does not say what to log or fly: ${why}`);
  }
  for (const axis of AXES) {
    for (const loop of ['rate', 'attitude'] as const) {
      const said = diagnosis.axes[axis].margins[loop];
      if (isUnavailable(said)) continue;
      const truth = sim.truth.axes[axis].margins[loop];
      out.push(...misjudged(said, truth).map((what) => `${axis} ${loop} loop: ${what}`));
      tally.given++;
      if (isFar(said, truth))
        tally.far.push(
          `${axis} ${loop}: said ${said.gainMarginDb!.toFixed(1)} ± ${said.gainMarginStdDb?.toFixed(1) ?? '–'} dB, true ${truth.gainMarginDb!.toFixed(1)} dB (${said.from})`,
        );
    }
    for (const line of diagnosis.axes[axis].oscillations) {
      if (swings?.axis !== axis || line.confidence < 0.9 || line.origin === 'unknown') continue;
      if (line.origin !== swings.origin)
        out.push(`${axis} is said to swing by its ${line.origin} for certain`);
    }
  }
  return out;
}

const gainsOf = (sim: SimulatedFlight): GainsFile =>
  parseGains(JSON.stringify(toGainsFile(sim.config)), 'gains.json');

/** The gains in rad/s, as told by somebody who knows nothing of filters and loop rate. */
function gainsWithoutFilters(sim: SimulatedFlight): GainsFile {
  const { gains } = toGainsFile(sim.config);
  return parseGains(JSON.stringify({ gains: { unit: 'rad/s', ...gains } }), 'gains.json');
}

/** Where a log has nothing to find the hover by, the user says where it is. */
const hoverOf = (sim: SimulatedFlight): { fromS: number; toS: number } => ({
  fromS: sim.truth.airborne!.startS,
  toS: sim.truth.airborne!.endS,
});

const gainAdvice = (diagnosis: Diagnosis): readonly unknown[] =>
  diagnosis.advice.filter((advice) => advice.kind === 'gain');

describe.each(Object.keys(FLIGHTS))('%s', (name) => {
  const flown = FLIGHTS[name]!;
  const { sim } = flown;

  it.each(Object.keys(LOGS))('with %s: weaker but true', (which) => {
    const { has, noGains } = LOGS[which]!;
    const diagnosis = diagnose(toFlight(sim, { channels: has }), { ...hoverOf(sim), vibration: false });
    expect(faults(diagnosis, flown)).toEqual([]);
    if (noGains) expect(gainAdvice(diagnosis)).toEqual([]);
  });

  it('with no terms and no gains file: no margins, and the reason asks for one of the two', () => {
    const diagnosis = diagnose(toFlight(sim, { channels: (channel) => !isTerm(channel) }), {
      vibration: false,
    });
    expect(faults(diagnosis, flown)).toEqual([]);
    expect(gainAdvice(diagnosis)).toEqual([]);
    for (const axis of AXES) {
      const { rate } = diagnosis.axes[axis].margins;
      expect(isUnavailable(rate)).toBe(true);
      if (isUnavailable(rate) && !isUnavailable(diagnosis.axes[axis].plant))
        expect(rate.unavailable).toMatch(/terms.*--gains/);
    }
  });

  it('with gains of declared unit but unknown filters: true', () => {
    const gains = gainsWithoutFilters(sim);
    expect(faults(diagnose(toFlight(sim), { gains, vibration: false }), flown)).toEqual([]);
    const withoutTerms = toFlight(sim, { channels: (channel) => !isTerm(channel) });
    expect(faults(diagnose(withoutTerms, { gains, vibration: false }), flown)).toEqual([]);
  });

  it('with rates at 50 Hz: true, with and without gains', () => {
    const config = structuredClone(sim.config);
    config.log.rateHz = 50;
    const slow = simulateFlight(config, sim.seed);
    const again = { ...flown, sim: slow };
    expect(faults(diagnose(toFlight(slow), { gains: gainsOf(slow), vibration: false }), again)).toEqual([]);
    expect(faults(diagnose(toFlight(slow), { vibration: false }), again)).toEqual([]);
  });
});

it('the flights are what their names say, so that a contradiction can show', () => {
  const { axes } = FLIGHTS['tight-loop limit cycle']!.sim.truth;
  expect(AXES.some((axis) => !axes[axis].margins.rate.stable || !axes[axis].margins.attitude.stable)).toBe(
    true,
  );
  expect(FLIGHTS['attitude swing']!.swings!.origin).toBe('attitude-loop');
  const { sim } = FLIGHTS['well-damped with stick doublets']!;
  expect(sim.config.pilot.doublets).toHaveLength(6);
  expect(AXES.every((axis) => sim.truth.axes[axis].margins.rate.stable)).toBe(true);
  // The whole log of that one does give margins of roll and pitch: what is missing later is missing for the log's sake.
  const whole = diagnose(toFlight(sim), { gains: gainsOf(sim), vibration: false });
  for (const axis of ['roll', 'pitch'] as const)
    expect(isUnavailable(whole.axes[axis].margins.rate)).toBe(false);
});

it('of the gain margins given from such logs at most one in thirty is off by more than 3 dB and three standard deviations', () => {
  console.log(`${String(tally.given)} gain margins given, far off:\n${tally.far.join('\n')}`);
  expect(tally.given).toBeGreaterThan(40);
  // Wanted is none. The one known is a yaw swing that comes over from roll and is taken for yaw's own.
  expect(tally.far.length / tally.given).toBeLessThan(1 / 30);
});
