/** Vibration: spectra with their lines, lines against rotor speed, and the gyro with and without the proposed filters. */
import type { GyroSpectra } from '../notch/plan-types.js';
import type { FlightStudy } from '../study-flight.js';
import { isUnavailable, type Unavailable } from '../unavailable.js';
import type { Sensor, SensorSpectrum, VibrationStudy } from '../vibration/vibration-study.js';
import type {
  CampbellPicture,
  FilteredPicture,
  VibrationPicture,
  VibrationSpectrumPicture,
} from './picture-data.js';
import { thinSpectrum } from './thin.js';

const DEG = 180 / Math.PI;
/** Fewer points than this show no course. */
const FEWEST_POINTS = 6;
const SENSORS: readonly Sensor[] = ['gyro', 'accel'];
const unitOf = (sensor: Sensor): 'deg/s' | 'm/s²' => (sensor === 'gyro' ? 'deg/s' : 'm/s²');
const scaleOf = (sensor: Sensor): number => (sensor === 'gyro' ? DEG : 1);

export function vibrationPicture(study: FlightStudy): VibrationPicture | Unavailable {
  const { vibration, filters } = study;
  if (isUnavailable(vibration)) return vibration;
  const filtered = isUnavailable(filters) || !filters.needed ? [] : study.gyroSpectra;
  const campbell = SENSORS.flatMap((sensor) => campbellOf(vibration, sensor));
  return {
    spectra: vibration.spectra.map((spectrum) => spectrumOf(vibration, spectrum)),
    campbell:
      campbell.length > 0
        ? campbell
        : isUnavailable(vibration.rotor)
          ? vibration.rotor
          : { unavailable: 'no line stands out often enough to be followed over rotor speed' },
    filtered:
      filtered.length === 0
        ? { unavailable: 'no filter is proposed' }
        : filtered.map((one) => filteredOf(one, vibration.lowestHz)),
  };
}

function spectrumOf(study: VibrationStudy, spectrum: SensorSpectrum): VibrationSpectrumPicture {
  const { sensor, axis, frequencyHz, density, floor, sampleRateHz } = spectrum;
  const scale = scaleOf(sensor);
  const kept = thinSpectrum(frequencyHz, density, study.lowestHz / 2, sampleRateHz / 2, 'linear');
  return {
    sensor,
    axis,
    unit: unitOf(sensor),
    frequencyHz: kept.map((k) => frequencyHz[k]!),
    level: kept.map((k) => scale * Math.sqrt(density[k]!)),
    background: kept.map((k) => scale * Math.sqrt(floor[k]!)),
    lines: study.lines
      .filter((line) => line.sensor === sensor && line.axis === axis)
      .map((line) => ({
        frequencyHz: line.frequencyHz,
        rms: scale * line.rms,
        kind: line.kind,
        order: line.order,
        rotor: line.rotor,
        trueFrequencyHz: line.trueFrequencyHz,
      })),
  };
}

function campbellOf(study: VibrationStudy, sensor: Sensor): CampbellPicture[] {
  const points = study.campbell.filter((point) => point.sensor === sensor);
  const rates = study.spectra.filter((one) => one.sensor === sensor).map((one) => one.sampleRateHz);
  if (points.length < FEWEST_POINTS || rates.length === 0) return [];
  return [
    {
      sensor,
      unit: unitOf(sensor),
      points: points.map(({ rotorHz, frequencyHz, axis, rms, kind, order }) => ({
        rotorHz,
        frequencyHz,
        axis,
        rms: scaleOf(sensor) * rms,
        kind,
        order,
      })),
      orders: [...new Set(points.flatMap(({ order }) => (order === null ? [] : [order])))].sort(
        (a, b) => a - b,
      ),
      halfSampleRateHz: Math.max(...rates) / 2,
    },
  ];
}

function filteredOf({ axis, before, after }: GyroSpectra, lowestHz: number): FilteredPicture {
  const kept = thinSpectrum(
    before.frequenciesHz,
    before.values,
    lowestHz / 2,
    before.sampleRateHz / 2,
    'linear',
  );
  return {
    axis,
    frequencyHz: kept.map((k) => before.frequenciesHz[k]!),
    before: kept.map((k) => DEG * Math.sqrt(before.values[k]!)),
    after: kept.map((k) => DEG * Math.sqrt(Math.max(0, after.values[k]!))),
  };
}
