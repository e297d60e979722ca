/** Which charts a flight gets, and where in its report they belong. */

import type { AxisName } from '@settle/parser';
import type { PictureData, Unavailable } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import { AXIS_ORDER } from '../words.js';
import { campbellChart } from './campbell-chart.js';
import type { Chart } from './chart.js';
import { closeUpChart } from './close-up-chart.js';
import { flightChart } from './flight-chart.js';
import { gainChart } from './gain-chart.js';
import { loopChart } from './loop-chart.js';
import { motorChart } from './motor-chart.js';
import { coherenceChart, stepChart } from './response-charts.js';
import { spectrogramChart } from './spectrogram-chart.js';
import { spectrumChart } from './spectrum-chart.js';
import { filteredChart, vibrationChart } from './vibration-charts.js';

export interface Charts {
  readonly flight: readonly Chart[];
  readonly axes: Readonly<Record<AxisName, readonly Chart[]>>;
  readonly vibration: readonly Chart[];
  readonly motors: readonly Chart[];
}

export const NO_CHARTS: Charts = {
  flight: [],
  axes: { roll: [], pitch: [], yaw: [] },
  vibration: [],
  motors: [],
};

export function assembleCharts(data: PictureData): Charts {
  return {
    flight: [flightChart(data.flight)],
    axes: { roll: axisCharts(data, 'roll'), pitch: axisCharts(data, 'pitch'), yaw: axisCharts(data, 'yaw') },
    vibration: vibrationCharts(data.vibration),
    motors: drawn(data.motors, (motors) => motorChart(motors, data.flight.durationS)),
  };
}

/** Every chart of a set, in the order of the report. */
export function allCharts({ flight, axes, vibration, motors }: Charts): Chart[] {
  return [...flight, ...AXIS_ORDER.flatMap((axis) => axes[axis]), ...vibration, ...motors];
}

function drawn<Data extends object>(data: Data | Unavailable, chart: (data: Data) => Chart): Chart[] {
  return isUnavailable(data) ? [] : [chart(data)];
}

function axisCharts(data: PictureData, axis: AxisName): Chart[] {
  const pictures = data.axes[axis];
  return [
    ...drawn(pictures.closeUp, closeUpChart),
    ...drawn(pictures.spectrum, spectrumChart),
    // Of a calm axis a spectrogram says nothing that its spectrum does not.
    ...(axis === liveliest(data) || swings(data, axis) ? drawn(pictures.spectrogram, spectrogramChart) : []),
    ...drawn(pictures.rateLoop, loopChart),
    ...drawn(pictures.attitudeLoop, loopChart),
    ...drawn(pictures.gains, gainChart),
    ...drawn(pictures.step, stepChart),
    ...drawn(pictures.coherence, coherenceChart),
  ];
}

const swings = ({ flight }: PictureData, axis: AxisName): boolean =>
  flight.swings.some((swing) => swing.axis === axis);

/** The axis that moves most in the hover. */
function liveliest({ flight }: PictureData): AxisName | null {
  const { hover, motion } = flight;
  let most = 0;
  let best: AxisName | null = null;
  for (const axis of AXIS_ORDER) {
    const series = motion[axis];
    let sum = 0;
    let count = 0;
    series?.timeS.forEach((timeS, i) => {
      const value = series.values[i] ?? null;
      if (value === null || timeS < hover.startS || timeS > hover.endS) return;
      sum += value * value;
      count++;
    });
    if (count > 0 && sum / count > most) {
      most = sum / count;
      best = axis;
    }
  }
  return best;
}

function vibrationCharts(vibration: PictureData['vibration']): Chart[] {
  if (isUnavailable(vibration)) return [];
  const { spectra, campbell, filtered } = vibration;
  return [
    ...(['gyro', 'accel'] as const).flatMap((sensor) => {
      const own = spectra.filter((one) => one.sensor === sensor && one.frequencyHz.length > 1);
      return own.length === 0 ? [] : [vibrationChart(sensor, own)];
    }),
    ...(isUnavailable(filtered) || filtered.length === 0 ? [] : [filteredChart(filtered)]),
    ...(isUnavailable(campbell) ? [] : campbell.map(campbellChart)),
  ];
}
