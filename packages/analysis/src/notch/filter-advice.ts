/** The filters of a plan as advice. */
import type { Advice } from '../diagnosis.js';
import type { AxisDecision } from '../identification/gain-advice.js';
import { isUnavailable, type Unavailable } from '../unavailable.js';
import type { NotchPlan, PlacedNotch } from './plan-types.js';

/**
 * @param decisions gains of the next hover, with the filters in their loops
 * @param upset after an upset nothing is tuned but what is unsafe
 */
export function adviseFilters(
  plan: NotchPlan | Unavailable,
  decisions: readonly AxisDecision[],
  upset: boolean,
): Advice[] {
  if (isUnavailable(plan) || !plan.needed || upset) return [];
  const expect = decisions.flatMap(({ axis, measured }) => {
    const rate = measured?.expected.rate;
    return rate?.gainMarginDb == null || rate.phaseMarginDeg === null
      ? []
      : [{ axis, gainMarginDb: rate.gainMarginDb, phaseMarginDeg: rate.phaseMarginDeg, oscillationHz: null }];
  });
  const common = {
    step: 1,
    kind: 'filter' as const,
    basis: expect.length > 0 ? ('margins' as const) : ('rule-of-thumb' as const),
    watchFor:
      'a swing that was not there before: every filter delays the loop; land, and take the filter out again: without it the gains advised here have more margin, and only the vibration comes back into the demand',
    ...(expect.length > 0 ? { expect } : {}),
  };
  const notches = plan.notches.map((notch): Advice => ({
    ...common,
    filter: {
      at: 'gyro',
      type: 'notch',
      centreHz: notch.centreHz,
      bandwidthHz: notch.bandwidthHz,
      depthDb: notch.depthDb,
    },
    because: [...plan.because, ...notchReasons(notch)],
    text: notchText(notch),
  }));
  const { lowPass } = plan;
  const other: Advice[] =
    lowPass === null
      ? []
      : [
          {
            ...common,
            filter: { at: 'gyro', type: 'low-pass', cutoffHz: lowPass.cutoffHz },
            because: plan.because,
            text: `${lowPass.replacesHz === null ? 'Put' : `Lower the gyro’s low-pass from ${lowPass.replacesHz.toFixed(0)} Hz: put`} a second-order low-pass at ${lowPass.cutoffHz.toFixed(0)} Hz on the gyro`,
          },
        ];
  return [...notches, ...other];
}

function notchText(notch: PlacedNotch): string {
  const follows =
    notch.scheduledBy === null
      ? ''
      : notch.scheduledBy === 'throttle'
        ? ', its centre following the throttle'
        : ', its centre following the rotor speed';
  const where = `${notch.centreHz.toFixed(1)} Hz, ${notch.bandwidthHz.toFixed(1)} Hz wide, ${notch.depthDb.toFixed(0)} dB deep${follows}`;
  // A line that turns with nothing rings, or comes from the electronics: a filter hides it from the controller and from nobody else.
  const rings = notch.orders.length === 0 ? 'Find its source first, and mend it if you can; then put' : 'Put';
  return notch.replaces === null
    ? `${rings} a notch on the gyro at ${where}`
    : `Change the gyro’s notch at ${notch.replaces.centreHz.toFixed(1)} Hz to ${where}`;
}

function notchReasons(notch: PlacedNotch): string[] {
  return [
    `${notch.definitionText}; in the other common definition type ${notch.widthOtherDefinitionHz.toFixed(1)} Hz (Q ${notch.qOtherDefinition.toFixed(2)})`,
    `it costs ${notch.phaseLagDeg.toFixed(1)}° at ${notch.phaseLagAtHz.toFixed(1)} Hz and takes the gyro’s noise there from ${notch.noiseBeforeDegS.toFixed(2)} to ${notch.noiseAfterDegS.toFixed(2)} deg/s, by running it over this log`,
    notch.movesAs,
    ...notch.warnings,
  ];
}
