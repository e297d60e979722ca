/** The same picture of several hovers, laid over one another. */

import type { AxisName } from '@settle/parser';
import type { HoverPicture } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import { LIGHT } from '../palette.js';
import { AXIS_ORDER, capitalise, joinWords } from '../words.js';
import { type Chart, tidy } from './chart.js';
import { type Layer, type Row, decades, levelLine, stack } from './parts.js';
import { STEP_TICKS } from './response-charts.js';

/** From the last hover backwards: darker and solid is newer. */
const STROKES = [
  { colour: LIGHT.heat8, dash: [1, 0] },
  { colour: LIGHT.heat7, dash: [7, 3] },
  { colour: LIGHT.heat6, dash: [4, 3] },
  { colour: LIGHT.heat6, dash: [2, 2] },
  { colour: LIGHT.heat5, dash: [1, 2] },
] as const;

/** Spectra and step responses of every axis that at least two hovers show. */
export function overlayCharts(hovers: readonly HoverPicture[]): Readonly<Record<AxisName, readonly Chart[]>> {
  const of = (axis: AxisName): Chart[] => [...spectra(axis, hovers), ...steps(axis, hovers)];
  return { roll: of('roll'), pitch: of('pitch'), yaw: of('yaw') };
}

interface Curve {
  readonly name: string;
  readonly x: readonly number[];
  readonly y: readonly number[];
}

/** The first and the last four: more than five curves are not told apart. */
function chosen<T>(all: readonly T[]): readonly T[] {
  return all.length <= STROKES.length ? all : [all[0]!, ...all.slice(-(STROKES.length - 1))];
}

function spectra(axis: AxisName, hovers: readonly HoverPicture[]): Chart[] {
  const curves = chosen(
    hovers.flatMap(({ name, axes }): Curve[] => {
      const { spectrum } = axes[axis];
      return isUnavailable(spectrum) ? [] : [{ name, x: spectrum.frequencyHz, y: spectrum.level }];
    }),
  );
  if (curves.length < 2) return [];
  const levels = curves.flatMap(({ y }) => y).filter((value) => value > 0);
  const [top, bottom] = [2 * Math.max(...levels), Math.max(Math.min(...levels), Math.max(...levels) / 1e4)];
  const across = {
    title: 'frequency, Hz',
    from: tidy(Math.max(...curves.map(({ x }) => x[0]!))),
    to: tidy(Math.min(...curves.map(({ x }) => x.at(-1)!))),
    logarithmic: true,
  };
  return [
    overlay(curves, {
      id: `${axis}-spectra`,
      title: `${capitalise(axis)} rate by frequency, hover over hover`,
      see: 'A peak that is gone is a wobble mended; one that moved with the gains was a loop; one that stayed is the structure or a rotor. Broad humps are stick movements, and a curve that is lower everywhere may be nothing but a calmer day.',
      quantity: `${axis} rate, (deg/s)/√Hz`,
      x: { label: 'frequency', unit: 'Hz' },
      unit: '(deg/s)/√Hz',
      across,
      y: { logarithmic: true, domain: [tidy(bottom), tidy(top)], values: decades(bottom, top), format: '~g' },
      extra: [],
    }),
  ];
}

function steps(axis: AxisName, hovers: readonly HoverPicture[]): Chart[] {
  const curves = chosen(
    hovers.flatMap(({ name, axes }): Curve[] => {
      const { step } = axes[axis];
      return isUnavailable(step) ? [] : [{ name, x: step.timeS, y: step.value }];
    }),
  );
  if (curves.length < 2) return [];
  const values = curves.flatMap(({ y }) => y);
  return [
    overlay(curves, {
      id: `${axis}-steps`,
      title: `${capitalise(axis)}: answers to a step of the rate reference, hover over hover`,
      see: 'Each curve is worked out from what its own hover shows of the loop. Less overshoot and less ringing mean more margin; a later rise means a slower loop.',
      quantity: 'rate, share of the step',
      x: { label: 'time', unit: 's' },
      unit: '',
      across: {
        title: 'time after the step, s',
        from: 0,
        to: tidy(Math.max(...curves[0]!.x)),
        ticks: STEP_TICKS,
      },
      y: {
        domain: [Math.min(0, tidy(Math.min(...values))), tidy(Math.max(1.2, 1.05 * Math.max(...values)))],
        ticks: 5,
      },
      extra: [levelLine(1, { color: LIGHT.ink, strokeDash: [] })],
    }),
  ];
}

interface Overlay {
  readonly id: string;
  readonly title: string;
  readonly see: string;
  readonly quantity: string;
  readonly x: { readonly label: string; readonly unit: string };
  readonly unit: string;
  readonly across: Parameters<typeof stack>[0]['across'];
  readonly y: Parameters<typeof stack>[0]['panels'][number]['y'];
  readonly extra: readonly Layer[];
}

function overlay(curves: readonly Curve[], of: Overlay): Chart {
  const names = curves.map(({ name }) => name);
  const isShort = names.every((name) => name.length <= 10);
  const stroke = (i: number): (typeof STROKES)[number] => STROKES[curves.length - 1 - i]!;
  const scale = (range: readonly unknown[]): Layer => ({
    type: 'nominal',
    scale: { domain: names, range },
    // Two beside one another on a phone, or the legend would be wider than the picture.
    legend: {
      title: null,
      symbolSize: 400,
      columns: { expr: `width < 420 ? 2 : ${isShort ? '5' : '4'}` },
      labelLimit: 120,
    },
  });
  const field = { field: 'hover' };
  return {
    id: of.id,
    title: of.title,
    see: of.see,
    alternative: `${capitalise(of.quantity)} of ${joinWords(names)}, laid over one another.`,
    spec: stack({
      description: of.title,
      across: of.across,
      panels: [
        {
          title: of.quantity,
          height: 210,
          y: of.y,
          layers: [
            ...of.extra,
            {
              data: { name: 'curves' },
              mark: { type: 'line', clip: true, strokeJoin: 'round', strokeWidth: 1.6 },
              encoding: {
                x: { field: 'x' },
                y: { field: 'y' },
                color: { ...field, ...scale(names.map((_, i) => stroke(i).colour)) },
                strokeDash: { ...field, ...scale(names.map((_, i) => stroke(i).dash)) },
              },
            },
          ],
        },
      ],
      datasets: {
        curves: curves.flatMap(rowsOf),
        ...Object.fromEntries(curves.map((curve, i) => [`curve-${String(i + 1)}`, rowsOf(curve)])),
      },
    }),
    reading: {
      ...of.x,
      rows: curves.map(({ name }, i) => ({
        dataset: `curve-${String(i + 1)}`,
        x: 'x',
        y: 'y',
        label: name,
        unit: of.unit,
      })),
    },
    sketch: null,
  };
}

function rowsOf({ name, x, y }: Curve): Row[] {
  return x.map((at, i) => ({ x: tidy(at), y: tidy(y[i]!), hover: name }));
}

/** Every overlay of a set, axis by axis. */
export function allOverlays(charts: Readonly<Record<AxisName, readonly Chart[]>>): Chart[] {
  return AXIS_ORDER.flatMap((axis) => charts[axis]);
}
