/** The hover by frequency: where a line stands out of the irregular motion, and where none does. */

import type { SpectrumPicture } from '@settle/analysis';
import { formatSignificant } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { capitalise, joinWords } from '../words.js';
import { type Chart, tidy } from './chart.js';
import { AXIS_COLOURS, type Layer, curve, decades, namedCurve, rowsOf, stack } from './parts.js';

const LEVEL = 'body rate';
const BACKGROUND = 'irregular background';

export function spectrumChart(data: SpectrumPicture): Chart {
  const { axis, frequencyHz, level, background, lines, searchedHz } = data;
  const colour = AXIS_COLOURS[axis];
  const top = 2.2 * Math.max(...level);
  const bottom = Math.min(...level.filter((value) => value > 0), ...background.filter((value) => value > 0));
  const from = tidy(frequencyHz[0]!);
  const to = tidy(frequencyHz.at(-1)!);
  const swings = lines.filter(({ what }) => what === 'swing');
  const folded = lines.filter(({ what }) => what === 'folded');
  const hz = (each: { readonly frequencyHz: number }): string => `${formatSignificant(each.frequencyHz)} Hz`;
  const colours = { [LEVEL]: colour, [BACKGROUND]: LIGHT.reference };
  return {
    id: `${axis}-spectrum`,
    title: `${capitalise(axis)} rate by frequency`,
    see:
      (swings.length === 0
        ? 'No narrow peak stands clear of the dashed background: the motion is irregular, as wind and small corrections make it.'
        : `A narrow peak clear of the dashed background is a wobble: ${joinWords(swings.map(hz))}.`) +
      (folded.length === 0
        ? ''
        : ` The line at ${joinWords(folded.map(hz))} is faster motion that the log is too slow for.`),
    alternative:
      `Amplitude density of the ${axis} rate from ${formatSignificant(from, 2)} to ${formatSignificant(to, 2)} Hz; searched for wobbles between ` +
      `${formatSignificant(searchedHz.lowest, 2)} and ${formatSignificant(searchedHz.highest, 2)} Hz. ` +
      (lines.length === 0 ? 'No line was found.' : `Lines at ${joinWords(lines.map(hz))}.`),
    spec: stack({
      description: `Amplitude spectral density of the ${axis} rate in hover, with its background and the lines found`,
      across: { title: 'frequency, Hz', from, to, logarithmic: true },
      panels: [
        {
          title: `${axis} rate, (deg/s)/√Hz`,
          colour,
          height: 190,
          y: {
            logarithmic: true,
            domain: [tidy(bottom), tidy(top)],
            values: decades(bottom, top),
            format: '~g',
          },
          layers: [
            ...outside(searchedHz, from, to),
            namedCurve(curve('spectrum', 'f', 'background', { strokeDash: [5, 3] }), BACKGROUND, colours),
            namedCurve(curve('spectrum', 'f', 'level', {}), LEVEL, colours),
            ...lineLayers(top),
          ],
        },
      ],
      datasets: {
        spectrum: rowsOf({ f: frequencyHz, level, background }),
        lines: lines.map((line) => ({
          f: tidy(line.frequencyHz),
          label: line.what === 'swing' ? hz(line) : `${hz(line)}, folded`,
        })),
      },
    }),
    reading: {
      label: 'frequency',
      unit: 'Hz',
      rows: [
        { dataset: 'spectrum', x: 'f', y: 'level', label: 'body rate', unit: '(deg/s)/√Hz' },
        { dataset: 'spectrum', x: 'f', y: 'background', label: 'background', unit: '(deg/s)/√Hz' },
      ],
    },
    sketch:
      lines.length === 0
        ? null
        : {
            x: 'frequency, Hz',
            y: `${axis} rate, (deg/s)/√Hz`,
            logarithmic: { x: true, y: true },
            points: frequencyHz.map((f, i) => [f, level[i]!]),
          },
  };
}

/** Outside the searched band nothing would have been seen: it is tinted. */
function outside({ lowest, highest }: SpectrumPicture['searchedHz'], from: number, to: number): Layer[] {
  const tint = (low: number, high: number): Layer => ({
    data: { name: 'here' },
    mark: { type: 'rect', color: LIGHT.grid, opacity: 0.45, clip: true },
    encoding: { x: { datum: tidy(low) }, x2: { datum: tidy(high) } },
  });
  return [...(lowest > from ? [tint(from, lowest)] : []), ...(highest < to ? [tint(highest, to)] : [])];
}

function lineLayers(top: number): Layer[] {
  const data = { name: 'lines' };
  return [
    {
      data,
      mark: { type: 'rule', color: LIGHT.mark, strokeWidth: 1.2, clip: true, opacity: 0.8 },
      encoding: { x: { field: 'f' } },
    },
    {
      data,
      mark: {
        type: 'text',
        color: LIGHT.mark,
        align: 'left',
        dx: 5,
        dy: 7,
        baseline: 'middle',
        fontWeight: 600,
      },
      encoding: { x: { field: 'f' }, y: { datum: tidy(top) }, text: { field: 'label' } },
    },
  ];
}
