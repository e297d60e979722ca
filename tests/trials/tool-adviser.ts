import { CannotAnalyse, diagnose, type Advice } from '@settle/analysis';
import { parseGains, readFlight } from '@settle/parser';
import type { Adviser, GainChange } from './closed-loop-trial.js';

/**
 * The tool as anyone would use it: CSV files and the gains file in, gain changes for the next hover out. Filters are left out:
 * the trial changes gains alone.
 */
export const toolAdviser: Adviser = ({ files, gainsText }) => {
  const sources = files.map((file) => ({ name: file.name, bytes: new TextEncoder().encode(file.text) }));
  try {
    const gains = parseGains(gainsText, 'gains.json');
    const diagnosis = diagnose(readFlight(sources), { gains, vibration: false });
    return gainChangesOf(diagnosis.advice);
  } catch (error) {
    // A hop too short to show a hover: the pilot flies the same gains again.
    if (error instanceof CannotAnalyse) return [];
    throw error;
  }
};

/** What advice asks to change before the next hover. */
export function gainChangesOf(advice: readonly Advice[]): GainChange[] {
  return advice.flatMap(({ kind, step, axis, loop, term, factor }): GainChange[] =>
    kind !== 'gain' ||
    step !== 1 ||
    !axis ||
    !term ||
    factor === undefined ||
    loop === undefined ||
    loop === 'position'
      ? []
      : [{ axis, loop, term, factor }],
  );
}
