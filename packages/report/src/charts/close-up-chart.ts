/** One axis where it moves most: what was asked for, what it did, and how large the swing is. */

import type { CloseUpPicture, TimeSeries } from '@settle/analysis';
import { formatSignificant, formatTime } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { REGIME_WORDS, capitalise } from '../words.js';
import { type Chart, type Sketch, tidyTime } from './chart.js';
import {
  AXIS_COLOURS,
  type Layer,
  type Panel,
  type Row,
  between,
  curve,
  namedCurve,
  reachOf,
  roundUp,
  seriesRows,
  stack,
} from './parts.js';

type Pair = NonNullable<CloseUpPicture['attitude']>;

const MEASURED = 'measured';
const REFERENCE = 'reference';
const ENVELOPE = 'size of the swing';

export function closeUpChart(data: CloseUpPicture): Chart {
  const { axis, stretch, rate, attitude, oscillation } = data;
  const panels: Panel[] = [];
  if (rate !== null) panels.push(ratePanel(data, rate));
  if (attitude !== null) panels.push(attitudePanel(data, attitude));
  const pair = (name: string, one: CloseUpPicture['attitude']): Record<string, Row[]> =>
    one === null
      ? {}
      : {
          [`${name}-measured`]: seriesRows(one.measured),
          ...(one.reference === null ? {} : { [`${name}-reference`]: seriesRows(one.reference) }),
        };
  return {
    id: `${axis}-close-up`,
    title: `${capitalise(axis)} where it moves most`,
    see: seeText(data),
    alternative: `${capitalise(axis)} from ${formatTime(stretch.startS)} to ${formatTime(stretch.endS)} s: ${[
      rate === null ? null : `body rate up to ${formatSignificant(reachOf([rate.measured], 0), 2)} deg/s`,
      attitude === null ? null : `angle up to ${formatSignificant(reachOf([attitude.measured], 0), 2)} deg`,
    ]
      .filter((text) => text !== null)
      .join(
        ', ',
      )}${oscillation === null ? '' : `, swinging at ${formatSignificant(oscillation.frequencyHz)} Hz`}.`,
    spec: stack({
      description: `Reference and measured motion of ${axis} around its largest motion`,
      across: { title: 'time, s', from: tidyTime(stretch.startS), to: tidyTime(stretch.endS) },
      panels,
      datasets: {
        ...pair('rate', rate),
        ...pair('angle', attitude),
        ...(rate === null || rate.envelope === null
          ? {}
          : { envelope: envelopeRows(rate.envelope, rate.middle) }),
      },
    }),
    reading: {
      label: 'time',
      unit: 's',
      rows: [...rowsFor('rate', rate, 'rate', 'deg/s'), ...rowsFor('angle', attitude, 'angle', 'deg')],
    },
    sketch: oscillation === null ? null : sketchOf(axis, rate?.measured ?? null),
  };
}

function seeText({ oscillation, rate, chosen, axis }: CloseUpPicture): string {
  const asked =
    rate === null || rate.reference === null
      ? ''
      : ' The dashed line is what was asked for: where the solid one leaves it, the axis does not follow.';
  if (oscillation === null || chosen === 'largest-motion')
    return `The seconds of the hover in which ${axis} moved most; nothing in them repeats itself steadily.${asked}`;
  const { frequencyHz, regime } = oscillation;
  const envelope =
    rate === null || rate.envelope === null
      ? ''
      : ` The tint shows the size of the swing alone: widening means growing, even means a cycle that feeds itself.`;
  return (
    `A swing at ${formatSignificant(frequencyHz)} Hz, one cycle every ${formatSignificant(1 / frequencyHz, 2)} s (${REGIME_WORDS[regime]}).` +
    envelope +
    asked
  );
}

function ratePanel(data: CloseUpPicture, rate: NonNullable<CloseUpPicture['rate']>): Panel {
  const colour = AXIS_COLOURS[data.axis];
  const reach = roundUp(
    Math.max(
      reachOf([rate.measured, rate.reference], 1),
      reachOf([rate.envelope], 0) + Math.abs(rate.middle),
    ),
  );
  const layers: Layer[] = [];
  if (rate.envelope !== null)
    layers.push(between('envelope', 't', 'low', 'high', { color: colour, opacity: 0.16 }));
  layers.push(...pairLayers('rate', rate, coloursOf(data)));
  return {
    title: `${data.axis} rate, deg/s`,
    colour,
    height: 150,
    y: { domain: [-reach, reach], ticks: 5 },
    layers,
  };
}

function attitudePanel(data: CloseUpPicture, attitude: Pair): Panel {
  const colour = AXIS_COLOURS[data.axis];
  return {
    title: `${data.axis} angle, deg`,
    colour,
    height: 110,
    y: { ticks: 4 },
    layers: pairLayers('angle', attitude, coloursOf(data)),
  };
}

/** Measured solid, reference dashed and grey. */
function pairLayers(name: string, pair: Pair, colours: Readonly<Record<string, string>>): Layer[] {
  const names = pair.reference === null ? [MEASURED] : [REFERENCE, MEASURED];
  return names.map((what) =>
    namedCurve(
      curve(`${name}-${what}`, 't', 'v', {
        strokeWidth: what === MEASURED ? 1.7 : 1.4,
        ...(what === REFERENCE ? { strokeDash: [5, 3] } : {}),
      }),
      what,
      colours,
    ),
  );
}

/** One list for both panels: the legend names what either of them shows. */
function coloursOf({ axis, rate, attitude }: CloseUpPicture): Readonly<Record<string, string>> {
  const hasReference = [rate, attitude].some((pair) => pair !== null && pair.reference !== null);
  return { ...(hasReference ? { [REFERENCE]: LIGHT.reference } : {}), [MEASURED]: AXIS_COLOURS[axis] };
}

function envelopeRows({ timeS, values }: TimeSeries, middle: number): Row[] {
  return seriesRows({ timeS, values }).map(({ t, v }) => ({
    t: t ?? null,
    size: v ?? null,
    low: typeof v === 'number' ? middle - v : null,
    high: typeof v === 'number' ? middle + v : null,
  }));
}

function rowsFor(
  name: string,
  pair: { readonly reference: TimeSeries | null; readonly envelope?: TimeSeries | null } | null,
  words: string,
  unit: string,
): { dataset: string; x: string; y: string; label: string; unit: string }[] {
  if (pair === null) return [];
  return [
    { dataset: `${name}-measured`, x: 't', y: 'v', label: `${words}, measured`, unit },
    ...(pair.reference === null
      ? []
      : [{ dataset: `${name}-reference`, x: 't', y: 'v', label: `${words}, reference`, unit }]),
    ...(pair.envelope === undefined || pair.envelope === null
      ? []
      : [{ dataset: 'envelope', x: 't', y: 'size', label: ENVELOPE, unit }]),
  ];
}

function sketchOf(axis: string, series: TimeSeries | null): Sketch | null {
  if (series === null) return null;
  return {
    x: 'time, s',
    y: `${axis} rate, deg/s`,
    logarithmic: { x: false, y: false },
    points: series.timeS.flatMap((timeS, i): [number, number][] => {
      const value = series.values[i] ?? null;
      return value === null ? [] : [[timeS, value]];
    }),
  };
}
