/** Vibration lines, what each one is, and what filters would do about them. */

import type { Alternative, Diagnosis, Notch, NotchPlan, Vibration, VibrationLine } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import { type Block, type Section, item, list, quantity, sentence, table, words } from './document.js';
import { formatEstimate, formatSignificant } from './numbers.js';
import { LINE_WORDS, asSentence, joinWords } from './words.js';

/** Lines and levels share a table but not a unit: rms in the unit of the sensor stands in the cell. */
const SENSOR_UNIT = { gyro: 'deg/s', accel: 'm/s²' } as const;
/** Rows of one sensor; the rest is in the machine-readable result. */
const MOST_ROWS = 8;

export function vibrationSection(vibration: Vibration, filters: Diagnosis['filters']): Section {
  const blocks: Block[] = [sentence(rotorSentence(vibration.rotor))];
  const rows = (['gyro', 'accel'] as const).flatMap((sensor) => {
    const groups = groupLines(vibration.lines.filter((line) => line.sensor === sensor));
    return groups.slice(0, MOST_ROWS).map((group) => rowOf(group));
  });
  if (rows.length > 0)
    blocks.push(
      table(
        [
          words('sensor'),
          quantity('line', 'Hz'),
          quantity('RMS', ''),
          quantity('above floor', 'dB'),
          quantity('order', '×'),
          words('what it is'),
        ],
        rows,
      ),
    );
  else blocks.push(sentence('No line stands out of the sensors’ noise.'));
  if (vibration.levels.length > 0) {
    const levels = vibration.levels.map(
      (level) =>
        `${level.sensor} ${level.axis} ${formatSignificant(level.rms)} ${SENSOR_UNIT[level.sensor]}` +
        (level.overRange > 0 ? ` (${level.overRange} samples over range)` : ''),
    );
    blocks.push(sentence(`Overall RMS: ${levels.join(', ')}.`));
  }
  if (!isUnavailable(filters)) blocks.push(...planBlocks(filters, vibration.notches));
  return { title: 'Vibration', blocks };
}

function rotorSentence(rotor: Vibration['rotor']): string {
  if (isUnavailable(rotor)) return `Rotor speed is not known: ${rotor.unavailable}.`;
  const from =
    rotor.from === 'speed-channel'
      ? 'from the logged rotor speed'
      : 'read from the spectrum: within 1 % in nine simulated hovers of ten, 1 to 2 % off in most others, and farther off, by a factor perhaps, in 1 of 50; log the rotor speeds to be sure';
  const unseen =
    rotor.unseenRotors === 0
      ? ''
      : ` ${rotor.unseenRotors === 1 ? 'One rotor shows no line' : `${String(rotor.unseenRotors)} rotors show no line`} and ${rotor.unseenRotors === 1 ? 'is' : 'are'} taken to turn as the motor commands make one expect; a worn motor turns slower, and the mean is then 1 to 3 % off.`;
  return (
    `Rotors turn at ${formatEstimate(rotor.hoverHz, rotor.hoverStdHz)} Hz in hover ` +
    `(${formatSignificant(rotor.lowHz)} to ${formatSignificant(rotor.highHz)} Hz), ${from}.${unseen}`
  );
}

/** Lines of one sensor that are one thing: an order of all rotors on all axes, or what stands at one frequency. */
const SAME_SHARE = 0.015;

function groupLines(lines: readonly VibrationLine[]): VibrationLine[][] {
  const groups: VibrationLine[][] = [];
  for (const line of lines) {
    const group = groups.find(([first]) =>
      line.order === null
        ? first!.order === null && Math.abs(first!.frequencyHz / line.frequencyHz - 1) < SAME_SHARE
        : first!.order === line.order && first!.kind === line.kind,
    );
    if (group === undefined) groups.push([line]);
    else group.push(line);
  }
  return groups.sort((a, b) => strongest(b).rms - strongest(a).rms);
}

function strongest(lines: readonly VibrationLine[]): VibrationLine {
  return lines.reduce((a, b) => (b.rms > a.rms ? b : a));
}

function rowOf(lines: readonly VibrationLine[]): string[] {
  const top = strongest(lines);
  const low = Math.min(...lines.map((line) => line.frequencyHz));
  const high = Math.max(...lines.map((line) => line.frequencyHz));
  const where = formatSignificant(low) === formatSignificant(high) ? '' : `${formatSignificant(low)}–`;
  const axes = ['x', 'y', 'z'].filter((axis) => lines.some((line) => line.axis === axis));
  const numbers = lines.flatMap((line) => (line.rotor === null || line.axis !== top.axis ? [] : [line]));
  const worst = numbers.length > 1 ? `, rotor ${String(strongest(numbers).rotor)} most` : '';
  return [
    `${top.sensor} ${axes.join(' ')}`,
    `${where}${formatSignificant(high)}`,
    `${formatSignificant(top.rms)} ${SENSOR_UNIT[top.sensor]} on ${top.axis}`,
    formatSignificant(Math.max(...lines.map((line) => line.aboveFloorDb)), 2),
    top.order === null ? '' : String(top.order),
    `${LINE_WORDS[top.kind]}${top.trueFrequencyHz === null ? '' : ` at ${formatSignificant(top.trueFrequencyHz)} Hz`}${worst}`,
  ];
}

function planBlocks(plan: NotchPlan, notches: readonly Notch[]): Block[] {
  if (plan.undecided !== null) return [sentence(`Filters: ${asSentence(plan.undecided)}`)];
  const blocks: Block[] = plan.because.map((text) => sentence(`Filters: ${asSentence(text)}`));
  if (notches.length > 0) blocks.push(notchTable(notches));
  if (plan.needed)
    blocks.push(
      tradeTable(plan),
      ...(plan.alternatives.some(({ margins }) => Object.keys(margins).length > 0)
        ? [
            sentence(
              'Margins left are those with the gains advised before these filters were placed; with the filters the gains are decided once more. Filters and gain changes are one step: make both or neither.',
              'quiet',
            ),
          ]
        : []),
      ...beforeAfter(plan),
    );
  if (plan.assumptions.length > 0 && plan.needed)
    blocks.push(list([item('Taken for granted', plan.assumptions.map(asSentence))]));
  return blocks;
}

function notchTable(notches: readonly Notch[]): Block {
  return table(
    [
      quantity('notch', 'Hz'),
      quantity('bandwidth', 'Hz'),
      quantity('depth', 'dB'),
      words('follows'),
      words('phase it costs'),
      quantity('noise before', 'deg/s'),
      quantity('noise after', 'deg/s'),
    ],
    notches.map((notch) => [
      formatSignificant(notch.centreHz),
      formatSignificant(notch.bandwidthHz),
      formatSignificant(notch.depthDb, 2),
      notch.scheduledBy === null ? 'nothing: fixed' : notch.scheduledBy.replace('-', ' '),
      `${formatSignificant(notch.phaseLagDeg, 2)} deg at ${formatSignificant(notch.phaseLagAtHz)} Hz`,
      formatSignificant(notch.noiseBeforeDegS),
      formatSignificant(notch.noiseAfterDegS),
    ]),
  );
}

/** What each set of filters does, and what it costs. */
function tradeTable(plan: NotchPlan): Block {
  return table(
    [
      words('filters'),
      words('made of'),
      quantity('ripple of the demand', '%'),
      quantity(`lag at ${formatSignificant(plan.lagAtHz, 2)} Hz`, 'deg'),
      words('margins left'),
    ],
    plan.alternatives.map((alternative) => [
      alternative.name,
      madeOf(alternative),
      formatSignificant(100 * alternative.worstRipple, 2),
      formatSignificant(alternative.phaseLagDeg, 2),
      joinWords(
        Object.entries(alternative.margins).flatMap(([axis, margins]) =>
          isUnavailable(margins) || margins.gainMarginDb === null || margins.phaseMarginDeg === null
            ? []
            : [`${axis} ${margins.gainMarginDb.toFixed(1)} dB ${margins.phaseMarginDeg.toFixed(0)}°`],
        ),
      ),
    ]),
  );
}

function madeOf({ notches, lowPass }: Alternative): string {
  const parts = notches.map(
    (notch) =>
      `notch ${formatSignificant(notch.centreHz)} Hz, ${formatSignificant(notch.bandwidthHz, 2)} Hz wide${notch.scheduledBy === null ? '' : ', following'}`,
  );
  return joinWords([
    ...parts,
    ...(lowPass === null ? [] : [`low-pass ${formatSignificant(lowPass.cutoffHz, 2)} Hz`]),
  ]);
}

function beforeAfter(plan: NotchPlan): Block[] {
  if (plan.beforeAfter.length === 0 || (plan.notches.length === 0 && plan.lowPass === null)) return [];
  const texts = plan.beforeAfter.map(
    (one) =>
      `${one.axis} from ${formatSignificant(one.gyroBeforeDegS)} to ${formatSignificant(one.gyroAfterDegS)} deg/s`,
  );
  return [
    sentence(
      `The proposed filters, run over this log, take the vibration that reaches the controller down: ${texts.join('; ')}.`,
    ),
  ];
}
