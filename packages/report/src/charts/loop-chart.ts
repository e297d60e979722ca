/** An identified loop by frequency, with what is plausible around it and its margins where they are read. */

import type { LoopPicture } from '@settle/analysis';
import { formatEstimate, formatSignificant } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { capitalise } from '../words.js';
import { type Chart, tidy } from './chart.js';
import {
  AXIS_COLOURS,
  type Layer,
  type Row,
  bandRows,
  between,
  curve,
  levelLine,
  rowsOf,
  stack,
} from './parts.js';

const FROM_WORDS = {
  stick: 'seen by stick movements',
  swing: 'seen in the swing itself',
  'single-gain': 'size alone, at one frequency',
} as const;
const FROM_SHAPES = { stick: 'circle', swing: 'diamond', 'single-gain': 'triangle-up' } as const;
/** The picture reaches this far below and above the crossover, as factors. */
const REACH = { below: 12, above: 8 };
/** The name of a bar shorter than this share of its panel stands above the level line, which would strike it out. */
const SMALL_SHARE = 0.16;

export function loopChart(data: LoopPicture): Chart {
  const { axis, loop, frequencyHz } = data;
  const colour = AXIS_COLOURS[axis];
  const centre = data.crossoverHz ?? data.phaseCrossoverHz ?? 3;
  const from = tidy(Math.max(frequencyHz[0]!, centre / REACH.below));
  const to = tidy(Math.min(frequencyHz.at(-1)!, Math.max(centre, data.phaseCrossoverHz ?? 0) * REACH.above));
  const inside = frequencyHz.map((hz) => hz >= 0.97 * from && hz <= 1.03 * to);
  const top = roundTo(Math.max(...data.gainDb.filter((_, i) => inside[i]), 10), 10);
  const bottom = -roundTo(-Math.min(...data.gainDb.filter((_, i) => inside[i]), -10), 10);
  const phases = data.phaseDeg.filter((_, i) => inside[i]);
  const lowest = -60 * Math.ceil(-Math.min(...phases, -240) / 60);
  return {
    id: `${axis}-${loop}-loop`,
    title: `${capitalise(axis)}: the ${loop} loop by frequency`,
    see: `${marginText(data)} ${plausibleText(data)}`,
    alternative: `Gain and phase of the open ${loop} loop of ${axis} from ${formatSignificant(from, 2)} to ${formatSignificant(to, 2)} Hz. ${marginText(data)}`,
    spec: stack({
      description: `Open-loop frequency response of the ${axis} ${loop} loop, with its margins`,
      across: { title: 'frequency, Hz', from, to, logarithmic: true },
      panels: [
        {
          title: 'gain, dB',
          height: 150,
          y: { domain: [bottom, top], ticks: 5 },
          layers: [
            levelLine(0, { color: LIGHT.ink, strokeDash: [] }),
            between('gain-band', 'x', 'low', 'high', { color: colour, opacity: 0.2 }),
            curve('loop', 'f', 'gain', { color: colour, strokeWidth: 2 }),
            ...shownLayers('gainDb', data.shown),
            ...marginLayers('gain-margin', Math.abs(data.gainMarginDb ?? 0) < SMALL_SHARE * (top - bottom)),
          ],
        },
        {
          title: 'phase, degrees',
          height: 130,
          y: {
            domain: [lowest, 0],
            values: [0, -90, -180, -270, -360],
          },
          layers: [
            levelLine(-180, { color: LIGHT.ink, strokeDash: [] }),
            between('phase-band', 'x', 'low', 'high', { color: colour, opacity: 0.2 }),
            curve('loop', 'f', 'phase', { color: colour, strokeWidth: 2 }),
            ...shownLayers('phaseDeg', data.shown),
            ...marginLayers('phase-margin', Math.abs(data.phaseMarginDeg ?? 0) < SMALL_SHARE * -lowest),
          ],
        },
      ],
      datasets: {
        loop: rowsOf({ f: frequencyHz, gain: data.gainDb, phase: data.phaseDeg }),
        'gain-band': bandRows(frequencyHz, data.gainBand),
        'phase-band': bandRows(frequencyHz, data.phaseBand),
        shown: data.shown.map((point) => ({
          f: tidy(point.frequencyHz),
          gainDb: tidy(point.gainDb),
          phaseDeg: point.phaseDeg === null ? null : tidy(point.phaseDeg),
          from: FROM_WORDS[point.from],
        })),
        'gain-margin': gainMark(data),
        'phase-margin': phaseMark(data),
      },
    }),
    reading: {
      label: 'frequency',
      unit: 'Hz',
      rows: [
        { dataset: 'loop', x: 'f', y: 'gain', label: 'gain', unit: 'dB' },
        { dataset: 'loop', x: 'f', y: 'phase', label: 'phase', unit: 'degrees' },
      ],
    },
    sketch: null,
  };
}

const roundTo = (value: number, step: number): number => step * Math.ceil(value / step);

function marginText({
  stable,
  gainMarginDb,
  gainMarginStdDb,
  phaseMarginDeg,
  phaseMarginStdDeg,
}: LoopPicture): string {
  const gain =
    gainMarginDb === null
      ? 'no gain limit was found'
      : gainMarginDb < 0
        ? `the gain is ${formatEstimate(-gainMarginDb, gainMarginStdDb)} dB too high`
        : `gain margin ${formatEstimate(gainMarginDb, gainMarginStdDb)} dB`;
  const phase =
    phaseMarginDeg === null
      ? 'no phase margin'
      : `phase margin ${formatEstimate(phaseMarginDeg, phaseMarginStdDeg)} degrees`;
  return stable
    ? `Stable, with ${gain} and ${phase}; 6 dB and 45 degrees are required.`
    : `Not stable: ${gain}, ${phase}; 6 dB and 45 degrees are required.`;
}

function plausibleText({ shown }: LoopPicture): string {
  const points =
    shown.length === 0
      ? ''
      : ' Points are what the hover itself shows; elsewhere the curve is the model’s word.';
  return `The bars show where the margins are read. The tint holds two in three of the loops that fit the log.${points}`;
}

function shownLayers(field: 'gainDb' | 'phaseDeg', shown: LoopPicture['shown']): Layer[] {
  if (shown.length === 0) return [];
  const present = (['stick', 'swing', 'single-gain'] as const).filter((from) =>
    shown.some((point) => point.from === from),
  );
  return [
    {
      data: { name: 'shown' },
      transform: [{ filter: `isValid(datum.${field})` }],
      mark: { type: 'point', clip: true, filled: false, size: 42, strokeWidth: 1.6, color: LIGHT.ink },
      encoding: {
        x: { field: 'f' },
        y: { field },
        shape: {
          field: 'from',
          type: 'nominal',
          scale: {
            domain: present.map((from) => FROM_WORDS[from]),
            range: present.map((from) => FROM_SHAPES[from]),
          },
          legend: { title: null },
        },
      },
    },
  ];
}

function gainMark({ gainMarginDb, phaseCrossoverHz }: LoopPicture): Row[] {
  if (gainMarginDb === null || phaseCrossoverHz === null || !(phaseCrossoverHz > 0)) return [];
  const label =
    gainMarginDb < 0 ? `${(-gainMarginDb).toFixed(1)} dB too high` : `${gainMarginDb.toFixed(1)} dB`;
  return [
    { f: tidy(phaseCrossoverHz), low: tidy(-gainMarginDb), high: 0, middle: tidy(-gainMarginDb / 2), label },
  ];
}

function phaseMark({ phaseMarginDeg, crossoverHz }: LoopPicture): Row[] {
  if (phaseMarginDeg === null || crossoverHz === null) return [];
  return [
    {
      f: tidy(crossoverHz),
      low: -180,
      high: tidy(-180 + phaseMarginDeg),
      middle: tidy(-180 + phaseMarginDeg / 2),
      label: `${phaseMarginDeg.toFixed(0)}°`,
    },
  ];
}

function marginLayers(dataset: string, isSmall: boolean): Layer[] {
  const data = { name: dataset };
  return [
    {
      data,
      mark: { type: 'rule', color: LIGHT.mark, strokeWidth: 3.5, clip: true },
      encoding: { x: { field: 'f' }, y: { field: 'low' }, y2: { field: 'high' } },
    },
    {
      data,
      mark: {
        type: 'text',
        color: LIGHT.mark,
        align: 'left',
        dx: 7,
        dy: isSmall ? -13 : 0,
        baseline: 'middle',
        fontWeight: 600,
      },
      encoding: { x: { field: 'f' }, y: { field: 'middle' }, text: { field: 'label' } },
    },
  ];
}
