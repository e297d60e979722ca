/**
 * Published tuning rules. All give the ideal form kp·(1 + 1/(Ti·s) + Td·s): kp in output per input, times in s.
 */

export interface Tuning {
  readonly kp: number;
  /** null: no integral term. */
  readonly integralTimeS: number | null;
  /** null: no derivative term. */
  readonly derivativeTimeS: number | null;
}

/** Where proportional control alone makes the loop oscillate. */
export interface UltimateCycle {
  /** Output per input. */
  readonly gain: number;
  readonly periodS: number;
}

/** J. G. Ziegler and N. B. Nichols, "Optimum settings for automatic controllers", Trans. ASME 64, 1942: quarter decay. */
export function zieglerNichols(ultimate: UltimateCycle, form: 'P' | 'PI' | 'PID'): Tuning {
  requireUltimate(ultimate);
  const { gain, periodS } = ultimate;
  switch (form) {
    case 'P':
      return { kp: 0.5 * gain, integralTimeS: null, derivativeTimeS: null };
    case 'PI':
      return { kp: 0.45 * gain, integralTimeS: periodS / 1.2, derivativeTimeS: null };
    case 'PID':
      return { kp: 0.6 * gain, integralTimeS: periodS / 2, derivativeTimeS: periodS / 8 };
  }
}

/** B. D. Tyreus and W. L. Luyben, Ind. Eng. Chem. Res. 31, 1992, p. 2625: calmer than Ziegler and Nichols. */
export function tyreusLuyben(ultimate: UltimateCycle, form: 'PI' | 'PID'): Tuning {
  requireUltimate(ultimate);
  const { gain, periodS } = ultimate;
  return form === 'PI'
    ? { kp: gain / 3.2, integralTimeS: 2.2 * periodS, derivativeTimeS: null }
    : { kp: gain / 2.2, integralTimeS: 2.2 * periodS, derivativeTimeS: periodS / 6.3 };
}

/** gain·e^(−delay·s)/(lag·s + 1), or slope·e^(−delay·s)/s. Times in s; gain in output per input, slope in that per s. */
export type SimpleProcess =
  | { readonly gain: number; readonly lagS: number; readonly delayS: number }
  | { readonly slope: number; readonly delayS: number };

/**
 * PI by S. Skogestad's rule (SIMC), J. Process Control 13, 2003, pp. 291–309.
 *
 * @param closedLoopS time constant wanted of the closed loop; default the delay: as tight as is robust, gain margin about 3
 */
export function simcPi(process: SimpleProcess, closedLoopS = process.delayS): Tuning {
  const integrating = 'slope' in process;
  const slope = integrating ? process.slope : process.gain / process.lagS;
  if (
    !(process.delayS >= 0) ||
    (!integrating && !(process.lagS > 0)) ||
    slope === 0 ||
    !Number.isFinite(slope)
  ) {
    throw new RangeError('a process needs a delay of 0 or more, a lag above 0 and a gain that is not 0');
  }
  const total = closedLoopS + process.delayS;
  if (!(closedLoopS >= 0) || !(total > 0)) {
    throw new RangeError(
      `closed-loop time constant ${closedLoopS} s and delay ${process.delayS} s are not above 0`,
    );
  }
  const slow = 4 * total;
  return {
    kp: 1 / (slope * total),
    integralTimeS: integrating ? slow : Math.min(process.lagS, slow),
    derivativeTimeS: null,
  };
}

/** A process as product of first-order parts and a delay; all times in s and above 0. */
export interface LagsAndDelay {
  /** Time constants T of the parts 1/(T·s + 1). */
  readonly lagsS: readonly number[];
  /** Time constants T of wrong-way parts (−T·s + 1). */
  readonly inverseS?: readonly number[];
  /** Time constants T of small right-way parts (T·s + 1), each taken for a lead of T. */
  readonly leadsS?: readonly number[];
  readonly delayS?: number;
}

/**
 * First- or second-order model with a delay by Skogestad's half rule (same paper): the largest lag dropped is shared half and
 * half between the smallest one kept and the delay; everything faster becomes delay.
 *
 * @returns kept lags (largest first) and effective delay, s
 * @throws RangeError with fewer lags than the order, times that are not above 0, or leads that outweigh all delay: the rule is
 *   not made for them
 */
export function halfRule(process: LagsAndDelay, order: 1 | 2): { lagsS: number[]; delayS: number } {
  const { lagsS, inverseS = [], leadsS = [], delayS = 0 } = process;
  const sum = (values: readonly number[]): number => values.reduce((total, value) => total + value, 0);
  if (lagsS.length < order) throw new RangeError(`order ${order} needs as many lags, not ${lagsS.length}`);
  if (![...lagsS, ...inverseS, ...leadsS].every((value) => value > 0) || !(delayS >= 0)) {
    throw new RangeError('time constants must be above 0 and the delay 0 or more');
  }
  const sorted = [...lagsS].sort((a, b) => b - a);
  const half = (sorted[order] ?? 0) / 2;
  const kept = sorted.slice(0, order);
  kept[order - 1]! += half;
  const delay = delayS + half + sum(sorted.slice(order + 1)) + sum(inverseS) - sum(leadsS);
  if (delay < 0) throw new RangeError('the leads outweigh the delay: the half rule does not hold for them');
  return { lagsS: kept, delayS: delay };
}

function requireUltimate({ gain, periodS }: UltimateCycle): void {
  if (!(gain > 0) || !(periodS > 0))
    throw new RangeError(`no ultimate cycle: gain ${gain}, period ${periodS} s`);
}
