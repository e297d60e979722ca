/** What concerns the whole aircraft rather than one axis: vibration, motors, battery. */

import {
  type Actuators,
  type Battery,
  type Diagnosis,
  type Notch,
  type Vibration,
  isUnavailable,
} from '@settle/analysis';
import { type Block, type Section, quantity, sentence, table, words } from './document.js';
import { formatPercent, formatSignificant } from './numbers.js';
import { AXIS_ORDER, LINE_WORDS, joinWords } from './words.js';

/** Lines and levels share a table but not a unit: rms in the unit of the sensor stands in the cell. */
const SENSOR_UNIT = { gyro: 'deg/s', accel: 'm/s²' } as const;

function rotorSentence(rotor: Vibration['rotor']): string {
  if (isUnavailable(rotor)) return `Rotor speed is not known: ${rotor.unavailable}`;
  const from = rotor.from === 'speed-channel' ? 'from the logged rotor speed' : 'read from the spectrum';
  return (
    `Rotors turn at ${formatSignificant(rotor.hoverHz)} Hz in hover ` +
    `(${formatSignificant(rotor.lowHz)} to ${formatSignificant(rotor.highHz)} Hz), ${from}.`
  );
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

function vibrationSection(vibration: Vibration): Section {
  const blocks: Block[] = [sentence(rotorSentence(vibration.rotor))];
  if (vibration.lines.length > 0) {
    blocks.push(
      table(
        [
          words('sensor'),
          quantity('line', 'Hz'),
          words('RMS'),
          quantity('above floor', 'dB'),
          quantity('order', '×'),
          words('what it is'),
        ],
        vibration.lines.map((line) => [
          `${line.sensor} ${line.axis}`,
          formatSignificant(line.frequencyHz),
          `${formatSignificant(line.rms)} ${SENSOR_UNIT[line.sensor]}`,
          formatSignificant(line.aboveFloorDb, 2),
          line.order === null ? '' : formatSignificant(line.order, 2),
          line.trueFrequencyHz === null
            ? LINE_WORDS[line.kind]
            : `${LINE_WORDS[line.kind]} at ${formatSignificant(line.trueFrequencyHz)} Hz`,
        ]),
      ),
    );
  }
  if (vibration.levels.length > 0) {
    const levels = vibration.levels.map(
      (level) =>
        `${level.sensor} ${level.axis} ${formatSignificant(level.rms)} ${SENSOR_UNIT[level.sensor]}` +
        (level.overRange > 0 ? ` (${level.overRange} samples over range)` : ''),
    );
    blocks.push(sentence(`Overall RMS: ${levels.join(', ')}.`));
  }
  if (vibration.notches.length > 0) blocks.push(notchTable(vibration.notches));
  return { title: 'Vibration', blocks };
}

function motorSection(actuators: Actuators): Section {
  const blocks: Block[] = [];
  if (actuators.motors.length > 0) {
    blocks.push(
      table(
        [
          quantity('motor', ''),
          quantity('mean command', '%'),
          quantity('on low stop', '% of time'),
          quantity('on high stop', '% of time'),
        ],
        actuators.motors.map((motor, index) => [
          String(index + 1),
          formatPercent(motor.mean),
          formatPercent(motor.lowStopShare),
          formatPercent(motor.highStopShare),
        ]),
      ),
    );
  }
  if (actuators.hoverThrottle !== null) {
    blocks.push(sentence(`Hover throttle ${formatPercent(actuators.hoverThrottle)} %.`));
  }
  const trims = AXIS_ORDER.flatMap((axis) => {
    const trim = actuators.trim[axis];
    return trim === null ? [] : [`${axis} ${formatSignificant(trim * 100, 2)} %`];
  });
  if (trims.length > 0) blocks.push(sentence(`Steady demand, share of full authority: ${joinWords(trims)}.`));
  return { title: 'Motors', blocks };
}

function batterySection(battery: Battery): Section {
  const currents = [
    battery.meanA === null ? null : `mean current ${formatSignificant(battery.meanA)} A`,
    battery.peakA === null ? null : `peak ${formatSignificant(battery.peakA)} A`,
  ].filter((text) => text !== null);
  const text =
    `${formatSignificant(battery.startV)} V at the start, ${formatSignificant(battery.lowestV)} V at the lowest` +
    (currents.length > 0 ? `; ${currents.join(', ')}.` : '.');
  return { title: 'Battery', blocks: [sentence(text)] };
}

export function assembleAircraftSections(diagnosis: Diagnosis): Section[] {
  const { vibration, actuators, battery } = diagnosis;
  const sections: Section[] = [];
  if (!isUnavailable(vibration)) sections.push(vibrationSection(vibration));
  if (!isUnavailable(actuators)) sections.push(motorSection(actuators));
  if (!isUnavailable(battery)) sections.push(batterySection(battery));
  return sections.filter((section) => section.blocks.length > 0);
}
