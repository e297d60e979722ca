/** Structural lines that come down between hovers of one build: something cracks, loosens or softens. */
import type { Finding } from '../diagnosis.js';
import { bandRms } from './bands.js';
import type { HoverSummary } from './hover-summary.js';

/** A fall of more than this share is danger. */
const DANGEROUS_FALL = 0.05;
/** Lines nearer than this are the same that stayed; further down than that another one. */
const STAYED = 0.05;
const FURTHEST_FALL = 0.4;
/** The fall must exceed 5 % by this many standard deviations. */
const SURE = 2;
/** Rotors that slowed by nearly the same share carry the line with them. */
const FOLLOWS_ROTOR = 0.02;

interface Structural {
  readonly sensor: string;
  readonly hz: number;
  readonly stdHz: number;
}

export interface FallingMode {
  /** The hover it had fallen by. */
  readonly hover: number;
  readonly finding: Finding;
}

export function fallingModes(hovers: readonly HoverSummary[], builds: readonly number[]): FallingMode[] {
  const out: FallingMode[] = [];
  for (let h = 1; h < hovers.length; h++) {
    // Against the last hover of the same build.
    const earlier = builds.slice(0, h).lastIndexOf(builds[h]!);
    if (earlier < 0) continue;
    const fall = largestFall(hovers[earlier]!, hovers[h]!);
    if (fall === null) continue;
    const finding: Finding = {
      id: 'mode-falling',
      axis: null,
      severity: 'danger',
      confidence: fall.confidence,
      summary: `a structural line fell from ${fall.from.toFixed(1)} to ${fall.to.toFixed(1)} Hz between ${hovers[earlier]!.name} and ${hovers[h]!.name}, with the same build: suspect a cracked tube or joint or a softened mount, and inspect before any flight`,
      evidence: [
        `seen by ${fall.sensors.join(', ')}: down by ${(100 * (1 - fall.to / fall.from)).toFixed(0)} %; more than 5 % is no scatter of a sound structure (common practice, no source)`,
      ],
    };
    out.push({ hover: h, finding });
  }
  return out;
}

interface Fall {
  readonly from: number;
  readonly to: number;
  readonly sensors: readonly string[];
  readonly confidence: number;
}

function largestFall(a: HoverSummary, b: HoverSummary): Fall | null {
  const falls: (Fall & { readonly ratio: number })[] = [];
  const [before, after] = [structuralOf(a), structuralOf(b)];
  for (const sensor of new Set(before.map((s) => s.sensor))) {
    const later = after.filter((s) => s.sensor === sensor);
    const near = (x: Structural, y: Structural): boolean => Math.abs(y.hz / x.hz - 1) <= STAYED;
    const gone = before.filter((s) => s.sensor === sensor && !later.some((l) => near(s, l)));
    const fresh = later.filter((l) => !before.some((s) => s.sensor === sensor && near(s, l)));
    for (const old of gone) {
      const lower = fresh.filter((l) => l.hz < old.hz && l.hz > (1 - FURTHEST_FALL) * old.hz);
      const next = lower.sort((x, y) => y.hz - x.hz)[0];
      if (next === undefined) continue;
      const ratio = next.hz / old.hz;
      const std = Math.hypot(old.stdHz / old.hz, next.stdHz / next.hz, 0.003);
      if (1 - ratio - SURE * std < DANGEROUS_FALL || followsRotor(a, b, ratio)) continue;
      falls.push({ from: old.hz, to: next.hz, sensors: [sensor], confidence: 0.8, ratio });
    }
  }
  const first = falls[0];
  if (first === undefined) return null;
  // Several sensors that agree are surer.
  const agreeing = falls.filter(
    (f) => Math.abs(f.from / first.from - 1) < STAYED && Math.abs(f.to / first.to - 1) < STAYED,
  );
  return {
    ...first,
    sensors: [...new Set(agreeing.flatMap((f) => f.sensors))],
    confidence: agreeing.length > 1 ? 0.92 : 0.8,
  };
}

/** A line this much above what the same band held before was not there before: 6 dB. */
const APPEARED = 2;

/** Structural lines that no earlier hover of the build showed, although its sensors would have. */
export function appearedLines(hovers: readonly HoverSummary[], builds: readonly number[]): FallingMode[] {
  return hovers.flatMap((hover, h): FallingMode[] => {
    const earlier = hovers.filter(
      (_, other) => other < h && builds[other] === builds[h] && hovers[other]!.bands.length > 0,
    );
    const { vibration } = hover.diagnosis;
    if (earlier.length === 0 || 'unavailable' in vibration) return [];
    const fresh = vibration.lines.filter((line) => {
      if (line.kind !== 'structure') return false;
      const before = earlier.flatMap((other) => bandRms(other, line) ?? []);
      return before.length === earlier.length && line.rms > APPEARED * Math.max(...before);
    });
    const first = fresh.reduce<(typeof fresh)[number] | null>(
      (a, b) => (a === null || b.aboveFloorDb > a.aboveFloorDb ? b : a),
      null,
    );
    if (first === null) return [];
    const finding: Finding = {
      id: 'structural-resonance',
      axis: null,
      severity: 'fault',
      confidence: Math.min(0.85, first.confidence),
      summary: `a structural line at ${first.frequencyHz.toFixed(1)} Hz that was not there before appears in ${hover.name}: something may have cracked, come loose or softened; inspect before the next flight`,
      evidence: fresh.map(
        (line) =>
          `${line.sensor} ${line.axis}: ${line.rms.toPrecision(2)} ${line.sensor === 'gyro' ? 'deg/s' : 'm/s²'} at ${line.frequencyHz.toFixed(1)} Hz, where ${earlier.map((other) => `${other.name} had ${bandRms(other, line)!.toPrecision(2)}`).join(', ')} in all`,
      ),
    };
    return [{ hover: h, finding }];
  });
}

function followsRotor(a: HoverSummary, b: HoverSummary, ratio: number): boolean {
  return (
    a.rotorHz !== null &&
    b.rotorHz !== null &&
    Math.abs(b.rotorHz.value / a.rotorHz.value / ratio - 1) < FOLLOWS_ROTOR
  );
}

/** Lines and oscillations taken for structure, by sensor axis. */
function structuralOf({ diagnosis }: HoverSummary): Structural[] {
  const { vibration } = diagnosis;
  const lines =
    'unavailable' in vibration
      ? []
      : vibration.lines
          .filter((l) => l.kind === 'structure')
          .map((l) => ({ sensor: `${l.sensor} ${l.axis}`, hz: l.frequencyHz, stdHz: l.frequencyStdHz }));
  const swings = (['roll', 'pitch', 'yaw'] as const).flatMap((axis) =>
    diagnosis.axes[axis].oscillations
      .filter((o) => o.origin === 'structure')
      .map((o) => ({ sensor: `${axis} rate`, hz: o.frequencyHz, stdHz: o.frequencyStdHz })),
  );
  return [...lines, ...swings];
}
