/** Identified loops: their frequency response with what is plausible around it, and the answer to a step. */
import { absolute, argument, complex, divide, multiply, type Complex } from '../control/complex.js';
import { controllerAt } from '../identification/controller.js';
import type { AxisModel } from '../identification/describe-axis.js';
import { loopsOf, type AxisIdentification } from '../identification/identify.js';
import {
  attitudeLoopAt,
  closedRateAt,
  judged,
  marginsOf,
  rateLoopAt,
  type AxisLoops,
} from '../identification/loop-model.js';
import { isUnavailable, type Unavailable } from '../unavailable.js';
import type { LoopPicture, StepPicture } from './picture-data.js';
import { bandOf } from './quantile-band.js';

const DEG = 180 / Math.PI;
const POINTS = 96;
const LOWEST_HZ = 0.2;
/** Above this the plant's few numbers do not know. */
const HIGHEST_HZ = 40;

/** @param model what the diagnosis says of the axis: a loop it does not vouch for is not drawn */
export function loopPicture(
  id: AxisIdentification,
  model: AxisModel,
  loop: 'rate' | 'attitude',
): LoopPicture | Unavailable {
  const margins = model[loop];
  if (isUnavailable(margins)) return margins;
  const today = id.plant === null ? null : loopsOf(id, id.plant);
  if (today === null) return { unavailable: 'the controller’s gains are not known' };
  const responseOf = (loops: AxisLoops): ((hz: number) => Complex) => {
    const own = judged(loops);
    const at = loop === 'rate' ? rateLoopAt : attitudeLoopAt;
    return (hz) => at(own, complex(0, 2 * Math.PI * hz));
  };
  const ratio = (HIGHEST_HZ / LOWEST_HZ) ** (1 / (POINTS - 1));
  const frequencyHz = Array.from({ length: POINTS }, (_, i) => LOWEST_HZ * ratio ** i);
  const likeliest = curvesOf(responseOf(today), frequencyHz);
  const anchor = nearestTo(frequencyHz, margins.crossoverHz ?? margins.phaseCrossoverHz ?? 3);
  // Whole turns away there is the same curve: where it counts it lies between 0 and −360°.
  const turns = Math.ceil((likeliest.phaseDeg[anchor]! - 1e-9) / 360);
  const phaseDeg = likeliest.phaseDeg.map((phase) => phase - 360 * turns);
  const drawn = id.draws.flatMap((draw) => {
    const own = loopsOf(id, draw);
    if (own === null) return [];
    const curves = curvesOf(responseOf(own), frequencyHz);
    const off = 360 * Math.round((curves.phaseDeg[anchor]! - phaseDeg[anchor]!) / 360);
    return [{ gainDb: curves.gainDb, phaseDeg: curves.phaseDeg.map((phase) => phase - off) }];
  });
  return {
    axis: id.axis,
    loop,
    frequencyHz,
    gainDb: likeliest.gainDb,
    gainBand: bandOf(
      drawn.map((one) => one.gainDb),
      POINTS,
    ),
    phaseDeg,
    phaseBand: bandOf(
      drawn.map((one) => one.phaseDeg),
      POINTS,
    ),
    shown: loop === 'rate' ? shownOf(id, frequencyHz, phaseDeg) : [],
    stable: margins.stable,
    gainMarginDb: margins.gainMarginDb,
    gainMarginStdDb: margins.gainMarginStdDb,
    phaseCrossoverHz: margins.phaseCrossoverHz,
    phaseMarginDeg: margins.phaseMarginDeg,
    phaseMarginStdDeg: margins.phaseMarginStdDeg,
    crossoverHz: margins.crossoverHz,
  };
}

function curvesOf(
  response: (hz: number) => Complex,
  frequencyHz: readonly number[],
): { gainDb: number[]; phaseDeg: number[] } {
  const gainDb: number[] = [];
  const phaseDeg: number[] = [];
  for (const hz of frequencyHz) {
    const value = response(hz);
    gainDb.push(20 * Math.log10(Math.max(1e-9, absolute(value))));
    const principal = argument(value) * DEG;
    const before = phaseDeg.at(-1) ?? principal;
    phaseDeg.push(principal + 360 * Math.round((before - principal) / 360));
  }
  return { gainDb, phaseDeg };
}

function nearestTo(frequencyHz: readonly number[], hz: number): number {
  let best = 0;
  frequencyHz.forEach((each, i) => {
    if (Math.abs(Math.log(each / hz)) < Math.abs(Math.log(frequencyHz[best]! / hz))) best = i;
  });
  return best;
}

/** The rate loop straight from the hover: the plant's ratio of rate to demand at a frequency, times the controller there. */
function shownOf(
  id: AxisIdentification,
  frequencyHz: readonly number[],
  phaseDeg: readonly number[],
): LoopPicture['shown'] {
  const { controller, evidence } = id;
  if (controller === null) return [];
  const place = (s: Complex, value: Complex, from: 'stick' | 'swing'): LoopPicture['shown'] => {
    const hz = s.im / (2 * Math.PI);
    if (!(hz >= LOWEST_HZ && hz <= HIGHEST_HZ) || !(absolute(value) > 0)) return [];
    const near = phaseDeg[nearestTo(frequencyHz, hz)]!;
    const phase = argument(value) * DEG;
    return [
      {
        frequencyHz: hz,
        gainDb: 20 * Math.log10(absolute(value)),
        phaseDeg: phase + 360 * Math.round((near - phase) / 360),
        from,
      },
    ];
  };
  const points = [
    ...evidence.bands.flatMap(({ s, rate, demand }) =>
      place(s, multiply(divide(rate, demand), controllerAt(controller, s)), 'stick'),
    ),
    ...evidence.equations.flatMap(({ s, rate, demand, from }) =>
      place(
        s,
        multiply(divide(rate, demand), controllerAt(controller, s)),
        from === 'instrument' ? 'stick' : 'swing',
      ),
    ),
  ];
  const { gain } = evidence;
  if (gain === null) return points;
  const size = Math.exp(gain.lnGain) * absolute(controllerAt(controller, complex(0, gain.omega)));
  return [
    ...points,
    {
      frequencyHz: gain.omega / (2 * Math.PI),
      gainDb: 20 * Math.log10(size),
      phaseDeg: null,
      from: 'single-gain' as const,
    },
  ];
}

/** Spacing and end of the frequencies a step is summed from, Hz; and what is drawn of it, s. */
const STEP_SPACING_HZ = 0.08;
const STEP_LENGTH_S = 1.5;
const STEP_POINTS = 120;

/** The step's answer as the integral of Re T(jω)·sin(ωt)/ω over ω, times 2/π, for a stable loop. */
export function stepPicture(id: AxisIdentification, model: AxisModel): StepPicture | Unavailable {
  const { response } = model;
  if (isUnavailable(response)) return response;
  const today = id.plant === null ? null : loopsOf(id, id.plant);
  if (today === null) return { unavailable: 'the controller’s gains are not known' };
  const count = Math.floor(HIGHEST_HZ / STEP_SPACING_HZ);
  // Midpoints: what wraps round in time cancels once the answer has settled.
  const omega = Float64Array.from({ length: count }, (_, k) => 2 * Math.PI * STEP_SPACING_HZ * (k + 0.5));
  const timeS = Array.from({ length: STEP_POINTS }, (_, i) => (STEP_LENGTH_S * i) / (STEP_POINTS - 1));
  const kernel = timeS.map((t) =>
    omega.map((w) => ((2 / Math.PI) * Math.sin(w * t) * 2 * Math.PI * STEP_SPACING_HZ) / w),
  );
  const stepOf = (loops: AxisLoops): number[] => {
    const own = withoutMoment(loops);
    const real = omega.map((w) => closedRateAt(own, complex(0, w)).re);
    return kernel.map((row) => {
      let sum = 0;
      for (let k = 0; k < count; k++) sum += row[k]! * real[k]!;
      return sum;
    });
  };
  const drawn = id.draws.flatMap((draw) => {
    const own = loopsOf(id, draw);
    return own === null || marginsOf(own).rate?.stable !== true ? [] : [stepOf(own)];
  });
  return {
    axis: id.axis,
    timeS,
    value: stepOf(today),
    band: bandOf(drawn, STEP_POINTS),
    riseTimeS: response.riseTimeS,
    overshootPct: response.overshootPct,
  };
}

/** The moment of the body's own attitude is far slower than a step of the rate, and would let it drift. */
function withoutMoment(loops: AxisLoops): AxisLoops {
  const plant = {
    ...loops.plant,
    instabilityPerS2: 0,
    dampingPerS: Math.max(0, loops.plant.dampingPerS),
  };
  return { ...loops, plant };
}
