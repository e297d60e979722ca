import { AXES } from '@settle/parser';
import { bestLoop, judgeAxis, type LoopQuality } from '@settle/simulator';
import { applyChanges, type Adviser, type GainChange } from './closed-loop-trial.js';

const HALVE = 0.5;
const RAISE = 1.8;
const RATE_TERMS = ['P', 'I', 'D'] as const;
const ENOUGH_GAIN_MARGIN_DB = 6;
const ENOUGH_PHASE_MARGIN_DEG = 45;
const ENOUGH_SHARE = 0.45;

/**
 * The rule to beat: fixed steps by someone who is told the true margins. Per axis, a rate loop that is too slow goes up
 * by 1.8; of one that is too tight that is halved which is: the whole loop or one of its terms, whichever helps more by
 * the truth. The attitude gain is halved where the attitude loop would be too tight around the new rate loop.
 */
export const truthToldRule: Adviser = ({ truth }) => {
  const { config } = truth();
  return AXES.flatMap((axis): GainChange[] => {
    const best = bestLoop(config, axis);
    const after = (changes: readonly GainChange[]) => judgeAxis(applyChanges(config, changes), axis, best);
    const scale = (terms: readonly GainChange['term'][], factor: number): GainChange[] =>
      terms.map((term) => ({ axis, loop: 'rate', term, factor }));
    const { rate } = judgeAxis(config, axis, best);
    let changes: GainChange[] = [];
    if (isTooSlow(rate)) changes = scale(RATE_TERMS, RAISE);
    else if (!rate.safe) {
      const choices = [scale(RATE_TERMS, HALVE), ...RATE_TERMS.map((term) => scale([term], HALVE))];
      const scores = choices.map((choice) => score(after(choice).rate));
      changes = choices[scores.indexOf(Math.max(...scores))]!;
    }
    const next = after(changes);
    if (next.rate.margins.stable && !next.attitude.safe) {
      changes.push({ axis, loop: 'attitude', term: 'P', factor: HALVE });
    }
    return changes;
  });
};

/** There is room above; or the loop is unstable, and no cut would make it stable. */
function isTooSlow({ margins, crossoverShare }: LoopQuality): boolean {
  if (crossoverShare >= ENOUGH_SHARE) return false;
  const { stable, gainMarginDb } = margins;
  return stable ? (gainMarginDb ?? Infinity) >= ENOUGH_GAIN_MARGIN_DB : gainMarginDb === null;
}

/** Higher is nearer to what is asked for: stability before margins before speed. */
function score({ margins, crossoverShare }: LoopQuality): number {
  const gain = (margins.gainMarginDb ?? Infinity) / ENOUGH_GAIN_MARGIN_DB;
  const phase = (margins.phaseMarginDeg ?? Infinity) / ENOUGH_PHASE_MARGIN_DEG;
  const speed = crossoverShare / ENOUGH_SHARE;
  return (margins.stable ? 0 : -10) + Math.min(gain, phase, 1) + 0.5 * Math.min(speed, 1);
}
