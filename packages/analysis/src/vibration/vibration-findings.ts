/** What the study of vibration says of the log and of the aircraft. */
import type { Finding } from '../diagnosis.js';
import { isUnavailable, type Unavailable } from '../unavailable.js';
import type { StudiedLine, VibrationStudy } from './vibration-study.js';

const DEG = 180 / Math.PI;
/** Energy just under half the sample rate over what belongs there, from which folding is suspected. */
const PILED_UP = 4;
/** A rotor line within this share of a ringing structure shakes it. */
const MEETS = 0.06;

export function vibrationFindings(study: VibrationStudy | Unavailable): Finding[] {
  if (isUnavailable(study)) return [];
  return [...folded(study), ...piledUp(study), ...meeting(study)];
}

function strongest(lines: readonly StudiedLine[]): StudiedLine {
  return lines.reduce((a, b) => (b.aboveFloorDb > a.aboveFloorDb ? b : a));
}

/** One finding for the family, not one for every axis that shows it. */
function folded({ lines }: VibrationStudy): Finding[] {
  const aliased = lines.filter((line) => line.kind === 'alias');
  if (aliased.length === 0) return [];
  const top = strongest(aliased);
  const places = [...new Set(aliased.map((line) => line.frequencyHz.toFixed(0)))]
    .slice(0, 6)
    .sort((a, b) => Number(a) - Number(b));
  const highest = Math.max(...aliased.map((line) => line.trueFrequencyHz ?? 0));
  const untold = aliased.some((line) => line.trueFrequencyHz === null);
  return [
    {
      id: 'aliased-vibration',
      axis: null,
      severity: 'fault',
      confidence: top.confidence,
      summary: `vibration faster than the log can show is folded down to ${places.join(', ')} Hz`,
      evidence: [
        ...top.evidence,
        ...(highest > 0
          ? [
              `a log at ${(2.5 * highest).toFixed(0)} Hz or more, or a filter before the samples are thinned out, shows ${untold ? 'those whose frequency is told where they are; others may be faster still' : 'it where it is'}`,
            ]
          : []),
      ],
    },
  ];
}

function piledUp({ sensors, lines }: VibrationStudy): Finding[] {
  if (lines.some((line) => line.kind === 'alias')) return [];
  const piled = sensors.filter((sensor) => sensor.nyquistExcess > PILED_UP);
  if (piled.length === 0) return [];
  return [
    {
      id: 'aliased-vibration',
      axis: null,
      severity: 'note',
      confidence: 0.6,
      summary: `energy piles up just under half the sample rate of ${piled.map((s) => `${s.sensor} ${s.axis}`).join(', ')}: more of it may be folded down and stand where it does not belong`,
      evidence: piled.map(
        (s) =>
          `${s.sensor} ${s.axis}: ${s.nyquistExcess.toFixed(0)} times the background in the top tenth of the band below ${(s.sampleRateHz / 2).toFixed(0)} Hz; log faster to tell`,
      ),
    },
  ];
}

/** A rotor line that stands on, or in its range passes over, something that rings. */
function meeting({ lines }: VibrationStudy): Finding[] {
  const structures = lines.filter((line) => line.kind === 'structure');
  const turning = lines.filter((line) => line.order !== null && line.kind !== 'alias');
  for (const structure of structures) {
    const met = turning.find(
      (line) =>
        line.sensor === structure.sensor &&
        structure.frequencyHz > line.lowHz * (1 - MEETS) &&
        structure.frequencyHz < line.highHz * (1 + MEETS),
    );
    if (met === undefined) continue;
    const level =
      structure.sensor === 'gyro'
        ? `${(structure.rms * DEG).toFixed(2)} deg/s`
        : `${structure.rms.toFixed(2)} m/s²`;
    return [
      {
        id: 'structural-resonance',
        axis: null,
        severity: 'note',
        confidence: Math.min(structure.confidence, met.confidence),
        summary: `something of the structure rings at ${structure.frequencyHz.toFixed(1)} Hz, where ${met.order === 1 ? 'once per revolution' : `${met.order!.toFixed(0)} times per revolution`} of a rotor passes`,
        evidence: [
          `${structure.sensor} ${structure.axis}: ${level} RMS at ${structure.frequencyHz.toFixed(1)} Hz`,
          `the rotor’s line ranges from ${met.lowHz.toFixed(1)} to ${met.highHz.toFixed(1)} Hz in this hover: stiffen the part or change the speed, so that they keep apart`,
        ],
      },
    ];
  }
  return [];
}
