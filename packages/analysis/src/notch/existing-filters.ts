/** Filters that the controller has already, and what of them the logged gyro has been through. */
import { AXES, type Flight, type GainsFile, type GyroNotch, type Interval } from '@settle/parser';
import {
  chainPowerGain,
  designLowPass,
  designNotch,
  type FilterChain,
  type LowPassOrder,
} from '../filters/index.js';
import { BODY_AXIS_OF } from '../oscillation/axis-signals.js';
import { evenRecord } from '../signals.js';
import { crossSpectralDensity, powerSpectralDensity } from '../spectrum/welch.js';

/** One way in which the existing filters may stand between the logged gyro and the controller. */
export interface FilterCase {
  readonly name: string;
  /** Whether the logged gyro is still to go through the filters. */
  readonly isRaw: boolean;
  readonly lowPassOrder: LowPassOrder;
}

export interface ExistingFilters {
  readonly lowPassHz: number | null;
  readonly notches: readonly GyroNotch[];
  /** Cases that the file and the log leave open; one when it is known. */
  readonly cases: readonly FilterCase[];
  /** The case that lets most through: what is calculated with. */
  readonly taken: FilterCase;
  readonly assumptions: readonly string[];
  /** Whether the body rate that the loop was identified from lacks the filters that the controller has. */
  readonly rateIsRaw: boolean;
}

/** A notch entered deeper than this is calculated with this depth where it has to be undone, dB. */
const DEEPEST_TO_UNDO_DB = 30;
/** Orders tell themselves apart from this many bins up. */
const FEWEST_BINS = 6;
/** RMS difference in dB beyond which no case explains what the log shows. */
const NO_MATCH_DB = 3;

/**
 * Reads filters from the gains file. Where body rates are logged beside the raw gyro, the ratio of the two tells whether the gyro
 * was taken before the filters, and of which order the low-pass is; a gains file tells neither the order nor, with `unknown`, the tap.
 */
export function findExistingFilters(
  flight: Flight,
  hover: Interval,
  gains: GainsFile | null,
): ExistingFilters {
  const lowPassHz = gains?.filters.gyroLowPassHz ?? null;
  const notches = gains?.filters.notches ?? [];
  const tap = gains?.filters.gyroTap ?? 'unknown';
  const assumptions: string[] = [];
  if (gains === null || (lowPassHz === null && gains.filters.notches === null))
    assumptions.push(
      'no filters of the gyro are told; the logged gyro is taken for what the controller gets; name the filters in a gains file',
    );
  const any = lowPassHz !== null || notches.length > 0;
  const orders: LowPassOrder[] = lowPassHz === null ? [2] : [2, 1];
  const raw = orders.map((lowPassOrder): FilterCase => ({
    name: `the gyro logged before the filters${lowPassHz === null ? '' : `, the low-pass of ${lowPassOrder === 1 ? 'first' : 'second'} order`}`,
    isRaw: true,
    lowPassOrder,
  }));
  const done: FilterCase = { name: 'the gyro logged behind the filters', isRaw: false, lowPassOrder: 2 };
  let cases = !any ? [done] : tap === 'before' ? raw : tap === 'after' ? [done] : [done, ...raw];
  const rateSeparate = AXES.some((axis) => differs(flight, axis));
  if (cases.length > 1) {
    const seen = observedGain(flight, hover);
    const match = seen === null ? null : bestCase(cases, seen, lowPassHz, notches, flight);
    if (match !== null) {
      cases = [match];
      assumptions.push(
        `existing filters: ${match.name}, as the logged body rates show beside the logged gyro`,
      );
    } else if (tap === 'unknown')
      assumptions.push(
        'it is not told whether the gyro was logged before or behind the filters; the worse is taken: behind them, so that nothing more takes vibration out; set "gyroTap" in the gains file',
      );
    else
      assumptions.push(
        'the order of the existing low-pass is not told; at every frequency the order that lets more through is taken, and second order (Butterworth) for its lag',
      );
  }
  return {
    lowPassHz,
    notches,
    cases,
    taken: cases[0]!,
    assumptions,
    rateIsRaw: any && cases[0]!.isRaw && !rateSeparate,
  };
}

/** Filters of a case at a filter rate; those that do not fit below half of it are left out. */
export function existingChain(
  existing: Pick<ExistingFilters, 'lowPassHz' | 'notches'>,
  order: LowPassOrder,
  sampleRateHz: number,
): FilterChain {
  const { lowPassHz, notches } = existing;
  const fits = (hz: number): boolean => hz < 0.48 * sampleRateHz;
  return [
    ...(lowPassHz !== null && fits(lowPassHz) ? [designLowPass(lowPassHz, order, sampleRateHz)] : []),
    ...notches
      .filter((notch) => fits(notch.centreHz) && notch.bandwidthHz < 0.45 * sampleRateHz)
      .map((notch) => existingNotch(notch, sampleRateHz)),
  ];
}

/** As the gains file defines it: width at −3 dB; its depth limited so that it can be undone. */
export function existingNotch(notch: GyroNotch, sampleRateHz: number): ReturnType<typeof designNotch> {
  return designNotch(
    {
      centreHz: notch.centreHz,
      widthHz: Math.min(notch.bandwidthHz, 0.45 * sampleRateHz),
      depthDb: Math.min(notch.depthDb, DEEPEST_TO_UNDO_DB),
    },
    sampleRateHz,
  );
}

/** Share of the logged gyro's power that reaches the controller today: the most of all cases left open. */
export function existingPowerGain(
  existing: ExistingFilters,
  frequencyHz: number,
  filterRateHz: number,
): number {
  return Math.max(
    ...existing.cases.map(({ isRaw, lowPassOrder }) =>
      isRaw
        ? chainPowerGain(
            existingChain(existing, lowPassOrder, filterRateHz),
            foldedHz(frequencyHz, filterRateHz),
            filterRateHz,
          )
        : 1,
    ),
  );
}

const foldedHz = (hz: number, rate: number): number => Math.abs(hz - rate * Math.round(hz / rate));

/** Body rate and gyro of an axis logged side by side and not the same. */
function differs(flight: Flight, axis: (typeof AXES)[number]): boolean {
  const rate = flight.signals.get(`rate.${axis}.measured`);
  const gyro = flight.signals.get(`gyro.${BODY_AXIS_OF[axis]}`);
  if (rate === undefined || gyro === undefined) return false;
  if (rate.values.length !== gyro.values.length) return true;
  const n = rate.values.length;
  let apart = 0;
  let size = 0;
  for (let i = 0; i < n; i++) {
    if (!Number.isFinite(rate.values[i]!) || !Number.isFinite(gyro.values[i]!)) continue;
    apart += (rate.values[i]! - gyro.values[i]!) ** 2;
    size += gyro.values[i]! ** 2;
  }
  return apart > 1e-6 * size;
}

interface ObservedGain {
  readonly sampleRateHz: number;
  readonly frequencyHz: number[];
  /** dB, body rate per gyro. */
  readonly gainDb: number[];
}

/** Coherence from which a bin says something about the filters between. */
const COHERENT = 0.9;

/** Gain from the logged gyro to the logged body rate, where both have the same rate and go together; null where none shows it. */
function observedGain(flight: Flight, hover: Interval): ObservedGain | null {
  const frequencyHz: number[] = [];
  const gainDb: number[] = [];
  let sampleRateHz = 0;
  for (const axis of AXES) {
    const rate = flight.signals.get(`rate.${axis}.measured`);
    const gyro = flight.signals.get(`gyro.${BODY_AXIS_OF[axis]}`);
    if (rate === undefined || gyro === undefined) continue;
    const y = evenRecord(rate, hover);
    const x = evenRecord(gyro, hover);
    if (x === null || y === null || Math.abs(x.sampleRateHz / y.sampleRateHz - 1) > 0.01) continue;
    const n = Math.min(x.values.length, y.values.length);
    const segmentLength = 256;
    if (n < 6 * segmentLength) continue;
    const a = x.values.subarray(0, n);
    const b = y.values.subarray(0, n);
    const options = { segmentLength };
    const xx = powerSpectralDensity(a, x.sampleRateHz, options);
    const yy = powerSpectralDensity(b, x.sampleRateHz, options);
    const xy = crossSpectralDensity(a, b, x.sampleRateHz, options);
    sampleRateHz = x.sampleRateHz;
    for (let k = 4; k < xx.values.length - 4; k++) {
      const cross = xy.re[k]! ** 2 + xy.im[k]! ** 2;
      if (cross < COHERENT * xx.values[k]! * yy.values[k]!) continue;
      frequencyHz.push(xx.frequenciesHz[k]!);
      gainDb.push(10 * Math.log10(cross / xx.values[k]! ** 2));
    }
  }
  return frequencyHz.length < FEWEST_BINS ? null : { sampleRateHz, frequencyHz, gainDb };
}

function bestCase(
  cases: readonly FilterCase[],
  seen: ObservedGain,
  lowPassHz: number | null,
  notches: readonly GyroNotch[],
  flight: Flight,
): FilterCase | null {
  // The filters run at the loop's rate, which a log seldom has; near its own Nyquist frequency the two differ.
  const rateHz = Math.max(
    seen.sampleRateHz,
    ...[...flight.signals.values()].map((s) => s.clock.sampleRateHz),
  );
  const used = seen.frequencyHz
    .map((hz, i) => ({ hz, gainDb: seen.gainDb[i]! }))
    .filter(({ hz }) => hz < 0.45 * seen.sampleRateHz && (lowPassHz === null || hz > 0.3 * lowPassHz));
  if (used.length < FEWEST_BINS) return null;
  const offDb = cases.map((each) => {
    const chain = each.isRaw ? existingChain({ lowPassHz, notches }, each.lowPassOrder, rateHz) : [];
    const squares = used.reduce(
      (sum, { hz, gainDb }) =>
        sum + (gainDb - 10 * Math.log10(chainPowerGain(chain, hz, rateHz) + 1e-9)) ** 2,
      0,
    );
    return Math.sqrt(squares / used.length);
  });
  const order = offDb.map((_, i) => i).sort((a, b) => offDb[a]! - offDb[b]!);
  const best = order[0]!;
  const runnerUp = order[1]!;
  return offDb[best]! < NO_MATCH_DB && offDb[runnerUp]! > 1.5 * offDb[best]! ? cases[best]! : null;
}
