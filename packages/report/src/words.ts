import type { AxisName } from '@settle/parser';
import type { Origin, Oscillation, PhaseKind, Regime, Severity, VibrationLine } from '@settle/analysis';
import type { Emphasis } from './document.js';
import { formatSignificant } from './numbers.js';

export const REGIME_WORDS: Readonly<Record<Regime, string>> = {
  growing: 'growing',
  'limit-cycle': 'steady cycle',
  driven: 'driven',
  decaying: 'dying out',
};

export const ORIGIN_WORDS: Readonly<Record<Origin, string>> = {
  'rate-loop': 'rate loop',
  'attitude-loop': 'attitude loop',
  'position-loop': 'position loop',
  pilot: 'pilot',
  'outer-loop': 'pilot or position loop',
  structure: 'structure',
  unknown: 'not known',
};

export const PHASE_WORDS: Readonly<Record<PhaseKind, string>> = {
  ground: 'ground',
  takeoff: 'take-off',
  hover: 'hover',
  manoeuvre: 'manoeuvre',
  landing: 'landing',
  upset: 'upset',
};

export const LINE_WORDS: Readonly<Record<VibrationLine['kind'], string>> = {
  rotor: 'rotor, once per revolution',
  'blade-pass': 'blade-pass',
  'rotor-harmonic': 'rotor harmonic',
  structure: 'structure',
  'control-loop': 'control loop',
  electrical: 'electrical',
  alias: 'alias of a faster line',
  unknown: 'not known',
};

export const SEVERITY_EMPHASIS: Readonly<Record<Severity, Emphasis>> = {
  danger: 'danger',
  fault: 'fault',
  note: 'plain',
};

/** What the envelope does, in a clause that follows "wobbles at … Hz", its leading mark or space included. */
export function regimeClause(oscillation: Oscillation): string {
  const { envelopeGrowthPerS: growth } = oscillation;
  const doubling = Number.isFinite(growth) && growth !== 0 ? Math.LN2 / Math.abs(growth) : null;
  const pace = doubling === null ? '' : ` about every ${formatSignificant(doubling, 2)} s`;
  switch (oscillation.regime) {
    case 'growing':
      return growth > 0 ? ` and grows, doubling${pace}` : ' and grows';
    case 'limit-cycle':
      return ' at a steady size';
    case 'driven':
      return ', kept alive from outside by wind or sticks';
    case 'decaying':
      return growth < 0 ? ` and dies out, halving${pace}` : ' and dies out';
  }
}

export function capitalise(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** A clause as a sentence of its own: capital in front, full stop behind. */
export function asSentence(clause: string): string {
  const text = capitalise(clause.trim());
  return /[.!?:]$/.test(text) ? text : `${text}.`;
}

/** `a`, `a and b`, `a, b and c`. */
export function joinWords(parts: readonly string[]): string {
  if (parts.length < 2) return parts[0] ?? '';
  return `${parts.slice(0, -1).join(', ')} and ${parts[parts.length - 1]!}`;
}

export function countOf(count: number, noun: string, plural = `${noun}s`): string {
  return `${count} ${count === 1 ? noun : plural}`;
}

export const AXIS_ORDER: readonly AxisName[] = ['roll', 'pitch', 'yaw'];

/**
 * Text from a log made safe to print: control characters (an escape sequence in a header could repaint a terminal),
 * line breaks and the invisible marks that reorder text are shown as `\u{…}`.
 */
export function printable(text: string): string {
  return text.replace(
    // eslint-disable-next-line no-control-regex -- finding control characters is the purpose
    /[\u0000-\u001f\u007f-\u009f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]/g,
    (character) => `\\u{${character.charCodeAt(0).toString(16)}}`,
  );
}
