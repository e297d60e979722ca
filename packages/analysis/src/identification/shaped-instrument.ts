/**
 * Where the stick moves an axis too little for narrow bands: wide ones, with the stick's reference shaped as the demand would
 * follow it if the plant were a likely one.
 */
import type { AxisName, ChannelName } from '@settle/parser';
import { add, complex, conjugate, divide, multiply, scale, type Complex } from '../control/complex.js';
import { smoothed } from '../signals.js';
import { controllerAt, type AxisController } from './controller.js';
import { bins, type AxisRecord, type InstrumentBand } from './evidence.js';
import { PRIOR } from './fit-plant.js';
import { plantAt } from './plant-model.js';

/** Wide bands in which a weak instrument is gathered, Hz. */
const WIDE_HZ = [0.35, 0.8, 1.6, 3.2, 7] as const;
const STRONG_ENOUGH = 8;

/**
 * Where no narrow band is strong enough: wide ones, with an instrument shaped as the demand would follow the reference if the
 * plant were a likely one. The shape only has to be about right: whatever it is, it knows nothing of the gusts.
 *
 * @param reference attitude reference, moved by the stick alone
 * @param shapes demand per attitude reference over jω, one for each likely plant
 */
export function shapedBands(
  record: AxisRecord,
  reference: Float64Array,
  shapes: readonly ((omega: number) => Complex)[],
): InstrumentBand[] {
  const n = record.rate.length;
  const df = 1 / (n * record.stepS);
  const r = bins(reference);
  const y = bins(record.rate);
  const u = bins(record.demand);
  const at = (x: Float64Array, k: number): Complex => complex(x[2 * k]!, x[2 * k + 1]!);
  let best: { bands: InstrumentBand[]; explained: number } | null = null;
  for (const shape of shapes) {
    const bands: InstrumentBand[] = [];
    let sum = 0;
    for (let b = 0; b + 1 < WIDE_HZ.length; b++) {
      const first = Math.ceil(WIDE_HZ[b]! / df);
      const last = Math.ceil(WIDE_HZ[b + 1]! / df);
      const omegas = Array.from({ length: last - first }, (_, i) => 2 * Math.PI * (first + i) * df);
      const z = omegas.map((omega, i) => multiply(at(r, first + i), shape(omega)));
      const rates = omegas.map((_, i) => at(y, first + i));
      const demands = omegas.map((_, i) => at(u, first + i));
      const power = z.reduce((p, v) => p + v.re ** 2 + v.im ** 2, 0);
      if (!(power > 0) || omegas.length < 4) continue;
      const root = Math.sqrt(power);
      const unit = z.map((v) => scale(v, 1 / root));
      const project = (x: readonly Complex[]): Complex =>
        x.reduce((p, v, i) => {
          const q = multiply(v, conjugate(unit[i]!));
          return complex(p.re + q.re, p.im + q.im);
        }, complex(0));
      const demand = project(demands);
      const total = demands.reduce((p, v) => p + v.re ** 2 + v.im ** 2, 0);
      const explained = demand.re ** 2 + demand.im ** 2;
      const strength = (explained * (omegas.length - 1)) / Math.max(1e-30, total - explained);
      // Only what the shape predicts counts: the projection must point its way.
      if (strength < STRONG_ENOUGH || demand.re < 0.7 * Math.sqrt(explained)) continue;
      sum += explained / total;
      bands.push({
        s: complex(0, omegas[omegas.length >> 1]!),
        rate: project(rates),
        demand,
        rates,
        demands,
        omegas,
        instrument: unit,
        strength,
      });
    }
    if (best === null || sum > best.explained) best = { bands, explained: sum };
  }
  const bands = best?.bands ?? [];
  // One band alone can be chance, and turns effectiveness and lag into one another.
  return bands.length > 1 ? bands : [];
}

/** Effectiveness of the plants that a weak instrument is shaped for, rad/s². */
const LIKELY_EFFECTIVENESS = [4, 8, 16, 32, 64, 128, 256];

/** Demand per attitude reference in closed loop, for plants of any effectiveness. */
export function likelyShapes(controller: AxisController): ((omega: number) => Complex)[] {
  return LIKELY_EFFECTIVENESS.map((effectiveness) => (omega) => {
    const s = complex(0, omega);
    const g = plantAt(
      {
        effectiveness,
        lagS: Math.exp(PRIOR.lnLag[0]),
        delayS: Math.exp(PRIOR.lnDelay[0]),
        filterShare: PRIOR.filterShare[0],
        dampingPerS: PRIOR.damping[0],
        instabilityPerS2: 0,
      },
      s,
    );
    const c = controllerAt(controller, s);
    const outer = scale(add(c, complex(controller.kff)), controller.attitude ?? 1);
    const loop = add(multiply(c, g), divide(multiply(outer, g), s));
    return divide(outer, add(complex(1), loop));
  });
}

/** The attitude reference, where the stick alone moves it: in proportion, or on yaw as its rate. */
export function referenceByStick(
  axis: AxisName,
  onClock: (channel: ChannelName) => Float64Array | null,
  stepS: number,
): Float64Array | null {
  const stick = onClock(`stick.${axis}`);
  const reference = onClock(`attitude.${axis}.reference`);
  if (stick === null || reference === null) return null;
  const width = Math.max(1, Math.round(0.2 / stepS));
  const moved =
    axis === 'yaw' ? reference.map((v, i) => (i < width ? 0 : v - reference[i - width]!)) : reference;
  const cause =
    axis === 'yaw' ? smoothed(stick, width).map((_, i, all) => all[Math.max(0, i - (width >> 1))]!) : stick;
  let xy = 0;
  let xx = 0;
  let yy = 0;
  const mean = (x: Float64Array): number => x.reduce((sum, v) => sum + v / x.length, 0);
  const mx = mean(cause);
  const my = mean(moved);
  for (let i = width; i < stick.length; i++) {
    xy += (cause[i]! - mx) * (moved[i]! - my);
    xx += (cause[i]! - mx) ** 2;
    yy += (moved[i]! - my) ** 2;
  }
  return xx > 0 && yy > 0 && xy * xy > 0.9 * xx * yy ? reference : null;
}
