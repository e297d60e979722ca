/** Plant, margins and response of an identified axis, in the units and with the uncertainties of the contract. */
import { argument, complex } from '../control/complex.js';
import { stepMetrics } from '../control/step-response.js';
import type { LoopMargins } from '../control/margins.js';
import type { Margins, Origin, Oscillation, Plant, Response, Unavailable } from '../diagnosis.js';
import { drawnMargins } from './drawn-margins.js';
import type { AxisIdentification } from './identify.js';
import { loopsOf } from './identify.js';
import { REQUIRED } from './gain-search.js';
import { bandwidthHz, closedRateAt, type AxisLoops, type BothMargins } from './loop-model.js';

export interface AxisModel {
  readonly plant: Plant | Unavailable;
  readonly rate: Margins | Unavailable;
  readonly attitude: Margins | Unavailable;
  readonly response: Response | Unavailable;
}

/**
 * What a plant of a few numbers leaves out of a margin, as a standard deviation beyond that of its parameters: measured against
 * simulated hovers whose truth is known (docs/methods.md).
 */
export const MODEL_STD = {
  rate: { gainDb: 0.1, phaseDeg: 0.5 },
  attitude: { gainDb: 0.3, phaseDeg: 0.75 },
} as const;
/** dB per octave beyond what the log shows: there a margin is the model's word alone (measured like {@link MODEL_STD}). */
const EXTRAPOLATED_DB = 0.3;
/** Of the rate loop where gusts shake something of the structure, which may be what limits its gain. */
const SHAKEN_DB = 2;
/**
 * A gain limit further than this beyond it is the model's alone: where it is surely more than is required, it counts as not found
 * in the band (judgement).
 */
const MOST_OCTAVES = 1.5;
/** A standard deviation this large says nothing about a margin. */
const USELESS_DB = 6;

/**
 * @param oscillations of the axis: a loop that keeps one going by itself is not stable, whatever the model says
 */
export function describeModel(
  id: AxisIdentification | null,
  oscillations: readonly Oscillation[],
): AxisModel {
  const none = (unavailable: string): AxisModel => ({
    plant: { unavailable },
    rate: { unavailable },
    attitude: { unavailable },
    response: { unavailable },
  });
  if (id === null)
    return none(
      'the log has no body rates over a hover long enough; log rates, demands and motor commands at 100 Hz or more',
    );
  if (id.plant === null) return none(id.why ?? 'nothing in the hover shows this axis’ plant');
  const plant: Plant = {
    effectiveness: id.plant.effectiveness,
    lagS: id.plant.lagS,
    delayS: id.plant.delayS,
    effectivenessStd: spread(id.draws.map((d) => d.effectiveness)) ?? 0,
    lagStdS: spread(id.draws.map((d) => d.lagS)) ?? 0,
    delayStdS: spread(id.draws.map((d) => d.delayS)) ?? 0,
  };
  const loops = loopsOf(id, id.plant);
  if (loops === null || id.margins === null) {
    const why =
      'the controller’s gains are not known, and no logged terms that follow the logged errors tell them; give them with --gains and their unit, or log the terms';
    return { ...none(why), plant };
  }
  const draws = drawnMargins(id).map(({ margins }) => margins);
  return {
    plant,
    rate: describeMargins('rate', id.margins.rate, draws, (m) => m.rate, id),
    attitude:
      loops.controller.attitude === null
        ? {
            unavailable:
              'the attitude gain is not known; log attitude and rate references, or give it with --gains',
          }
        : onTheVerge(id.margins.rate)
          ? {
              unavailable:
                'the rate loop inside it is on the verge of stability, so the attitude loop cannot be judged; mend the rate loop first, then fly again',
            }
          : unlessContradicted(
              oscillations,
              describeMargins('attitude', id.margins.attitude, draws, (m) => m.attitude, id),
            ),
    response: describeResponse(loops, id),
  };
}

/** Origins inside both loops: whichever rings, the attitude loop around it all is not stable. */
const LOOPS: ReadonlySet<Origin> = new Set<Origin>(['rate-loop', 'attitude-loop']);
/**
 * An attitude loop that keeps an oscillation going by itself is not stable. A model that calls it so, be it by a hair, or swings
 * that come over from another axis: either way its margins are not to be trusted.
 */
function unlessContradicted(
  oscillations: readonly Oscillation[],
  margins: Margins | Unavailable,
): Margins | Unavailable {
  if ('unavailable' in margins || !margins.stable) return margins;
  const own = oscillations.find(
    (o) =>
      LOOPS.has(o.origin) && o.follows === null && (o.regime === 'growing' || o.regime === 'limit-cycle'),
  );
  if (own === undefined) return margins;
  return {
    unavailable: `its swing at ${own.frequencyHz.toFixed(2)} Hz sustains itself, but the model read from it calls the loop stable; lower its gain and fly again, with stick movements once it is calm`,
  };
}

/** dB on either side of the limit within which a rate loop may as well be on the other side of it. */
const VERGE_DB = 2;

/** A rate loop that may be stable or not leaves open how many unstable poles the loop around it starts with. */
function onTheVerge(rate: LoopMargins | null): boolean {
  return rate?.gainMarginDb != null && Math.abs(rate.gainMarginDb) < VERGE_DB;
}

function describeMargins(
  loop: 'rate' | 'attitude',
  m: LoopMargins | null,
  draws: readonly BothMargins[],
  of: (both: BothMargins) => LoopMargins | null,
  id: AxisIdentification,
): Margins | Unavailable {
  if (m === null)
    return {
      unavailable: 'the loop’s course at low frequency cannot be told from this hover; fly longer and calmer',
    };
  const gainStd = spread(draws.map((d) => of(d)?.gainMarginDb ?? null));
  if (gainStd !== null && gainStd > USELESS_DB)
    return {
      unavailable: `the gain margin is uncertain by ${gainStd.toFixed(0)} dB; fly small single stick movements in a calm hover`,
    };
  const octaves = octavesBeyond(m.phaseCrossoverHz, id);
  const gainMarginStdDb =
    m.gainMarginDb === null
      ? null
      : withModel(
          gainStd,
          Math.hypot(
            MODEL_STD[loop].gainDb,
            EXTRAPOLATED_DB * octaves,
            loop === 'rate' && id.structuralPeak !== null ? SHAKEN_DB : 0,
          ),
        );
  const unseen =
    octaves > MOST_OCTAVES &&
    gainMarginStdDb !== null &&
    m.gainMarginDb! - 2 * gainMarginStdDb > REQUIRED.gainMarginDb;
  return {
    ...m,
    ...(unseen ? { gainMarginDb: null, phaseCrossoverHz: null } : {}),
    gainMarginStdDb: unseen ? null : gainMarginStdDb,
    phaseMarginStdDeg:
      m.phaseMarginDeg === null
        ? null
        : withModel(spread(draws.map((d) => of(d)?.phaseMarginDeg ?? null)), MODEL_STD[loop].phaseDeg),
    from: `plant from ${id.from}; controller from ${id.controller!.from}${
      unseen
        ? `; no gain limit up to ${(2 ** MOST_OCTAVES * Math.max(...shownHz(id))).toFixed(0)} Hz, and what lies beyond is not seen in this log`
        : ''
    }`,
  };
}

/** Octaves from the fastest motion the log shows up to where the gain margin is read. */
function octavesBeyond(hz: number | null, id: AxisIdentification): number {
  const shown = shownHz(id);
  return hz === null || shown.length === 0 ? 0 : Math.max(0, Math.log2(hz / Math.max(...shown)));
}

/** Frequencies at which the hover shows the plant. */
const shownHz = ({ evidence }: AxisIdentification): number[] =>
  [
    ...[...evidence.bands, ...evidence.equations].map((e) => e.s.im),
    ...(evidence.gain === null ? [] : [evidence.gain.omega]),
  ].map((omega) => omega / (2 * Math.PI));

const withModel = (std: number | null, model: number): number | null =>
  std === null ? null : Math.hypot(std, model);

/** Half the distance between the 16th and 84th percentile; null for fewer than half the values. */
export function spread(values: readonly (number | null)[]): number | null {
  const known = values.filter((v): v is number => v !== null && Number.isFinite(v)).sort((a, b) => a - b);
  if (known.length < values.length / 2 || known.length < 4) return null;
  const at = (share: number): number => known[Math.round(share * (known.length - 1))]!;
  return (at(0.84) - at(0.16)) / 2;
}

const STEP_S = 0.004;
const STEP_LENGTH_S = 3;

function describeResponse(loops: AxisLoops, id: AxisIdentification): Response | Unavailable {
  if (id.margins?.rate?.stable !== true)
    return { unavailable: 'the rate loop is not stable, so it has no response to speak of' };
  const bandwidth = bandwidthHz(loops);
  if (bandwidth === null)
    return { unavailable: 'the rate loop’s bandwidth lies beyond what the hover shows' };
  const value = stepOf(loops);
  const final = value.slice(-25).reduce((sum, v) => sum + v / 25, 0);
  const timeS = Float64Array.from(value, (_, i) => i * STEP_S);
  const metrics = final > 0.2 ? stepMetrics({ timeS, value, finalValue: final }) : null;
  // Phase delay between the frequencies where the response lags 90° and 180°, as a pure delay would have it.
  const half = 2 * Math.PI * bandwidth * 0.5;
  const lag = -argument(closedRateAt(loops, complex(0, half)));
  const all = shownHz(id);
  return {
    bandwidthHz: bandwidth,
    delayS: Math.max(0, lag / half),
    riseTimeS: metrics?.riseTimeS ?? null,
    overshootPct: metrics?.overshootPct ?? null,
    coherentBandHz: [Math.min(...all), Math.max(...all)],
  };
}

/** Step of the closed rate loop, attitude loop open, by stepping plant and controller in time. */
export function stepOf(loops: AxisLoops): Float64Array {
  const { plant, controller: c } = loops;
  const n = Math.round(STEP_LENGTH_S / STEP_S);
  const y = new Float64Array(n);
  const late = plant.delayS / STEP_S;
  const demand = new Float64Array(n);
  const keep = Math.exp(-STEP_S / plant.lagS);
  const damping = Math.max(0, plant.dampingPerS);
  const share =
    c.derivativeLowPassHz === null ? 1 : 1 - Math.exp(-2 * Math.PI * c.derivativeLowPassHz * STEP_S);
  let lagged = 0;
  let rate = 0;
  let integral = 0;
  let smooth = 0;
  for (let k = 0; k < n; k++) {
    y[k] = rate;
    const error = 1 - rate;
    integral += c.ki * error * STEP_S;
    const next = smooth + share * (error - smooth);
    demand[k] = c.kp * error + integral + (c.kd * (next - smooth)) / STEP_S + c.kff;
    smooth = next;
    const at = k - late;
    const whole = Math.floor(at);
    const x = at - whole;
    const u = (demand[whole] ?? 0) * (1 - x) + (demand[whole + 1] ?? demand[k]!) * x;
    const input = at < 0 ? 0 : u;
    lagged = input + (lagged - input) * keep;
    rate += STEP_S * (plant.effectiveness * lagged - damping * rate);
  }
  return y;
}
