/** The tuning record of the demo aircraft: its hovers in words, with the gains they are simulated with. */

import { AXES, addHover, formatRecord, newRecord, type HoverDraft } from '@settle/parser';
import type { FlightConfig } from './config.js';
import { toGainsFile } from './gains-file.js';
import type { DemoHover } from './samphire.js';

/** What the pilot wrote down; in the order of the hovers. */
const PILOT_NOTES: readonly Pick<HoverDraft, 'date' | 'weather' | 'note'>[] = [
  {
    date: '2026-04-11T09:20:00+01:00',
    weather: 'calm',
    note: 'First hover. Pitch swung at once, landed after four seconds. Nose-heavy.',
  },
  {
    date: '2026-04-12T16:05:00+01:00',
    weather: 'a breeze from the sea, gusty',
    note: 'Pitch is calm. Roll wandered with every gust. Buzz in the airframe.',
  },
  {
    date: '2026-04-18T08:40:00+01:00',
    weather: 'light breeze',
    note: 'Gains were raised in small steps over short hops without a log. Feels settled.',
  },
  {
    date: '2026-04-19T10:15:00+01:00',
    weather: 'light breeze',
    note: 'Nothing touched since. Tipped over in the heather after the last landing; sounds rougher.',
  },
  {
    date: '2026-05-02T07:55:00+01:00',
    weather: 'light breeze',
    note: 'After six hours of survey flights and one hard landing.',
  },
];

/** What was done to the aircraft before each hover, beside the gains. */
const WORKSHOP: readonly (readonly string[])[] = [
  [],
  ['battery moved aft until it balances', 'gyro logged at 400 Hz'],
  ['props balanced'],
  [],
  ['prop 3 replaced'],
];

const BUILD = {
  props: '17 in two-blade',
  battery: '6 cells',
  parts: ['outer panels fitted', 'pusher motor fitted'],
} as const;

/** Factor as a person writes it down; null: the gain is as it was. */
function factorOf(before: number, after: number): string | null {
  const factor = after / before;
  return Math.abs(factor - 1) < 1e-9 || !Number.isFinite(factor)
    ? null
    : String(Number(factor.toPrecision(2)));
}

/** The gains and filters that differ between two hovers, as the pilot would note them. */
function gainChanges(before: FlightConfig, after: FlightConfig): string[] {
  const loops = AXES.flatMap((axis) => {
    const rate = (['kp', 'ki', 'kd'] as const).flatMap((term, i) => {
      const factor = factorOf(before.controller.rate[axis][term], after.controller.rate[axis][term]);
      return factor === null ? [] : [`${'PID'[i]!} × ${factor}`];
    });
    const attitude = factorOf(before.controller.attitude[axis], after.controller.attitude[axis]);
    return [
      ...(rate.length === 0 ? [] : [`${axis} rate ${rate.join(', ')}`]),
      ...(attitude === null ? [] : [`${axis} attitude P × ${attitude}`]),
    ];
  });
  const known = before.controller.notches.map(({ centreHz }) => centreHz);
  const notches = after.controller.notches
    .filter(({ centreHz }) => !known.includes(centreHz))
    .map(
      ({ centreHz, bandwidthHz }) =>
        `notch on the gyro at ${String(centreHz)} Hz, ${String(bandwidthHz)} Hz wide`,
    );
  return [...loops, ...notches];
}

/** The text of the record, which stands beside the directories of the hovers. */
export function samphireRecord(hovers: readonly DemoHover[]): string {
  const record = hovers.reduce(
    (grown, { name, config }, i) => {
      const before = hovers[i - 1]?.config;
      const changes = [...(before === undefined ? [] : gainChanges(before, config)), ...WORKSHOP[i]!];
      return addHover(grown, {
        name: `hover ${String(i + 1)}`,
        files: [name],
        ...PILOT_NOTES[i],
        ...(changes.length === 0 ? {} : { changes }),
        configuration: BUILD,
        gains: { text: JSON.stringify(toGainsFile(config)), name },
      });
    },
    newRecord('samphire-record.json', 'Samphire'),
  );
  return formatRecord(record);
}
