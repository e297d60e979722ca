/**
 * Families that only their folds give away. In a slow log whose commands do not say what turns, a line at f and one where a multiple
 * of f folds to are a rotor and its multiple, with the rotor at f or at the sample rate less f: both fold to the same places. The
 * second line is folded either way; which of the two the first one is cannot be told, so no speed is given.
 */
import { foldedHz } from './rotor-lines.js';
import type { StudiedLine } from './vibration-study.js';

/** Multiples that blades and harmonics make. */
const MULTIPLES = [2, 3, 4];
/** Lines this near are one; a fold stands this near to where it should, share of the multiple. */
const SAME_HZ = 1;
const FOLD_SHARE = 0.005;
/** Lines on fewer sensor axes say too little. */
const LEAST_AXES = 2;
/** The rotor's line is among so many of those that stand out most. */
const CLEAREST = 3;
const CONFIDENCE = 0.6;

/**
 * @param lines none of which is known to be a rotor's
 * @param sampleRateHz that all of them are logged at
 * @returns the same lines; those that a multiple folds to are flagged, and what they are multiples of is not called a structure
 */
export function flagFoldPairs(lines: readonly StudiedLine[], sampleRateHz: number): StudiedLine[] {
  const free = lines.filter(({ kind }) => kind === 'structure' || kind === 'unknown');
  const axesAt = (hz: number): number =>
    new Set(free.filter((line) => near(line, hz)).map(({ sensor, axis }) => `${sensor}.${axis}`)).size;
  const firsts: StudiedLine[] = [];
  for (const line of [...free].sort((a, b) => b.aboveFloorDb - a.aboveFloorDb)) {
    if (firsts.length === CLEAREST) break;
    if (!firsts.some((first) => near(first, line.frequencyHz)) && axesAt(line.frequencyHz) >= LEAST_AXES)
      firsts.push(line);
  }
  const pairs = firsts.flatMap((first) =>
    MULTIPLES.flatMap((multiple) => {
      const trueHz = multiple * first.frequencyHz;
      const at = foldedHz(trueHz, sampleRateHz);
      if (trueHz < sampleRateHz / 2 || near(first, at)) return [];
      const own = free.filter(({ frequencyHz }) => Math.abs(frequencyHz - at) < FOLD_SHARE * trueHz);
      const axes = new Set(own.map(({ sensor, axis }) => `${sensor}.${axis}`));
      return axes.size < LEAST_AXES ? [] : [{ firstHz: first.frequencyHz, multiple, own }];
    }),
  );
  return lines.map((line) => {
    const folded = pairs.find(({ own }) => own.includes(line));
    if (folded !== undefined) return flagged(line, folded, sampleRateHz);
    const first = pairs.find(({ firstHz }) => free.includes(line) && near(line, firstHz));
    return first === undefined ? line : doubted(line, sampleRateHz);
  });
}

function near({ frequencyHz }: StudiedLine, hz: number): boolean {
  return Math.abs(frequencyHz - hz) < SAME_HZ;
}

function flagged(
  line: StudiedLine,
  { firstHz, multiple }: { readonly firstHz: number; readonly multiple: number },
  sampleRateHz: number,
): StudiedLine {
  const [one, other] = [firstHz, sampleRateHz - firstHz].map((hz) => (multiple * hz).toFixed(1));
  return {
    ...line,
    kind: 'alias',
    confidence: CONFIDENCE,
    evidence: [
      `it stands where ${String(multiple)} times the line at ${firstHz.toFixed(1)} Hz folds to: truly ${one!} Hz, or ${other!} Hz if that line is folded itself; log faster than ${(2.5 * multiple * firstHz).toFixed(0)} Hz, or log rotor speeds, to tell`,
      ...line.evidence.slice(1),
    ],
  };
}

function doubted(line: StudiedLine, sampleRateHz: number): StudiedLine {
  return {
    ...line,
    kind: 'unknown',
    confidence: 0,
    evidence: [
      `a multiple of it is there too, folded, so a rotor may make it: at ${line.frequencyHz.toFixed(1)} Hz, or at ${(sampleRateHz - line.frequencyHz).toFixed(1)} Hz and folded itself`,
      ...line.evidence.slice(1),
    ],
  };
}
