/** What concerns the whole aircraft rather than one axis: vibration, motors, battery. */

import type { Actuators, Battery, Diagnosis } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import { type Block, type Section, quantity, sentence, table } from './document.js';
import { formatPercent, formatSignificant } from './numbers.js';
import { vibrationSection } from './vibration-section.js';
import { AXIS_ORDER, joinWords } from './words.js';

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
  const { vibration, filters, actuators, battery } = diagnosis;
  const sections: Section[] = [];
  if (!isUnavailable(vibration)) sections.push(vibrationSection(vibration, filters));
  if (!isUnavailable(actuators)) sections.push(motorSection(actuators));
  if (!isUnavailable(battery)) sections.push(batterySection(battery));
  return sections.filter((section) => section.blocks.length > 0);
}
