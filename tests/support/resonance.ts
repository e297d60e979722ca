import type { RandomSource } from './random.js';

/**
 * A second-order resonance driven by noise: what a well-damped loop makes of gusts. Returns its rate of change.
 *
 * @param slope 0: white noise drives it; 2: noise with a first-order corner at a fifth of the resonance
 */
export function drivenResonance(
  random: RandomSource,
  options: { dampingRatio: number; hz: number; sampleRateHz: number; samples: number; slope: 0 | 2 },
): Float64Array {
  const { dampingRatio, hz, sampleRateHz, samples, slope } = options;
  const omega = 2 * Math.PI * hz;
  const substeps = 4;
  const dt = 1 / sampleRateHz / substeps;
  const out = new Float64Array(samples);
  const settle = Math.round((sampleRateHz * 10) / dampingRatio / hz);
  let x = 0;
  let v = 0;
  let drive = 0;
  for (let i = -settle; i < samples; i++) {
    for (let k = 0; k < substeps; k++) {
      const noise = random.normal() / Math.sqrt(dt);
      drive = slope === 0 ? noise : drive + dt * omega * (noise - 0.2 * drive);
      v += dt * (omega * omega * (drive - x) - 2 * dampingRatio * omega * v);
      x += dt * v;
    }
    if (i >= 0) out[i] = v;
  }
  return out;
}
