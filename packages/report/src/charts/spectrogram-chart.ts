/** How the frequencies of a hover come and go. */

import type { SpectrogramPicture } from '@settle/analysis';
import { formatSignificant, formatTime } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { capitalise, joinWords } from '../words.js';
import { type Chart, tidy, tidyTime } from './chart.js';
import { type Row, stack } from './parts.js';

const HEAT = [
  LIGHT.heat1,
  LIGHT.heat2,
  LIGHT.heat3,
  LIGHT.heat4,
  LIGHT.heat5,
  LIGHT.heat6,
  LIGHT.heat7,
  LIGHT.heat8,
];
/** One step of colour, dB. */
const STEP_DB = 5;

export function spectrogramChart(data: SpectrogramPicture): Chart {
  const { axis, timeEdgesS, frequencyEdgesHz, levelDb, lines } = data;
  const top = STEP_DB * Math.ceil(Math.max(...levelDb.map((column) => Math.max(...column))) / STEP_DB);
  const bottom = top - STEP_DB * HEAT.length;
  const steps = HEAT.slice(1).map((_, i) => bottom + (i + 1) * STEP_DB);
  const from = tidyTime(timeEdgesS[0]!);
  const to = tidyTime(timeEdgesS.at(-1)!);
  const highest = tidy(frequencyEdgesHz.at(-1)!);
  const found = lines.map(({ frequencyHz }) => `${formatSignificant(frequencyHz)} Hz`);
  const level = {
    field: 'db',
    type: 'quantitative',
    scale: { type: 'threshold', domain: steps, range: HEAT },
    legend: {
      title: 'body rate, dB re 1 (deg/s)/√Hz',
      type: 'gradient',
      gradientLength: 220,
      gradientThickness: 10,
      format: 'd',
    },
  };
  return {
    id: `${axis}-spectrogram`,
    title: `${capitalise(axis)} rate by frequency over the hover`,
    see:
      found.length === 0
        ? 'A wobble would be a level dark band. Blots that come and go at many frequencies are gusts and corrections.'
        : `A level dark band is a wobble that holds its frequency: follow it at ${joinWords(found)} to see when it began and whether it moves. The lines above and below it mark where it was found.`,
    alternative:
      `Level of the ${axis} rate from ${formatTime(from)} to ${formatTime(to)} s and from 0 to ${formatSignificant(highest, 2)} Hz. ` +
      (found.length === 0 ? 'No steady band was found.' : `Steady bands at ${joinWords(found)}.`),
    spec: stack({
      description: `Spectrogram of the ${axis} rate in hover`,
      across: { title: 'time, s', from, to },
      panels: [
        {
          title: 'frequency, Hz',
          height: 200,
          y: { domain: [0, highest], ticks: 5 },
          layers: [
            {
              data: { name: 'cells' },
              // A hairline of its own colour closes the seams between neighbours.
              mark: { type: 'rect', clip: true, strokeWidth: 0.7, tooltip: null },
              encoding: {
                x: { field: 't' },
                x2: { field: 't2' },
                y: { field: 'f' },
                y2: { field: 'f2' },
                fill: level,
                stroke: level,
              },
            },
            ...[-1, 1].map((side) => ({
              data: { name: 'lines' },
              mark: { type: 'rule', color: LIGHT.mark, strokeWidth: 1.5, strokeDash: [4, 3], clip: true },
              encoding: {
                x: { field: 'startS' },
                x2: { field: 'endS' },
                y: { field: side < 0 ? 'below' : 'above' },
              },
            })),
          ],
        },
      ],
      datasets: {
        cells: levelDb.flatMap((column, c) =>
          column.map((db, r): Row => ({
            t: tidyTime(timeEdgesS[c]!),
            t2: tidyTime(timeEdgesS[c + 1]!),
            f: tidy(frequencyEdgesHz[r]!),
            f2: tidy(frequencyEdgesHz[r + 1]!),
            db: Math.round(db),
          })),
        ),
        lines: lines.map(({ frequencyHz, startS, endS }) => ({
          startS: tidyTime(startS),
          endS: tidyTime(endS),
          below: tidy(frequencyHz - 0.05 * highest),
          above: tidy(frequencyHz + 0.05 * highest),
        })),
        strongest: strongestRows(data),
      },
    }),
    reading: {
      label: 'time',
      unit: 's',
      rows: [
        { dataset: 'strongest', x: 't', y: 'f', label: 'strongest at', unit: 'Hz' },
        { dataset: 'strongest', x: 't', y: 'db', label: 'with', unit: 'dB re 1 (deg/s)/√Hz' },
      ],
    },
    sketch: null,
  };
}

/** The loudest cell of every column, for reading off. */
function strongestRows({ timeEdgesS, frequencyEdgesHz, levelDb }: SpectrogramPicture): Row[] {
  return levelDb.map((column, c) => {
    const best = column.indexOf(Math.max(...column));
    return {
      t: tidyTime((timeEdgesS[c]! + timeEdgesS[c + 1]!) / 2),
      f: tidy((frequencyEdgesHz[best]! + frequencyEdgesHz[best + 1]!) / 2),
      db: Math.round(column[best]!),
    };
  });
}
