/** Figures of the comparison trial. */
import type { LineCase, VibrationVerdict } from './compare-lines.js';
import type { SequenceCase } from './compare-sequences.js';
import type { ComparedPair, VerdictCase } from './compare-trial.js';
import { PAIR_KINDS } from './compare-pairs.js';

const SAME_TUNE = new Set(['calmer', 'windier', 'pilot']);

export interface ComparisonFigures {
  readonly pairs: number;
  /** Verdicts given (better, worse, same, unclear), and how many of them were wrong. */
  readonly verdicts: number;
  readonly wrong: number;
  /** Verdicts on the same tune, and how many were `same` or `unclear`. */
  readonly sameTune: number;
  readonly sameOrUnclear: number;
  readonly same: number;
  /** Gain margins that got 3 dB better or more, and how many were called better. */
  readonly improvements: number;
  readonly found: number;
  /** The same of all with a verdict: leaves out what could not be compared. */
  readonly improvementsJudged: number;
  /** Axes with such an improvement, and those on which a margin was called better and none worse. */
  readonly improvedAxes: number;
  readonly foundAxes: number;
  /** Truths within one and two stated standard errors of the values. */
  readonly within1: number;
  readonly within2: number;
  readonly stated: number;
}

export function figuresOf(pairs: readonly ComparedPair[]): ComparisonFigures {
  const cases = pairs.flatMap((p) => p.cases);
  const given = cases.filter((c) => c.verdict !== null);
  const sameTune = given.filter((c) => SAME_TUNE.has(c.pair));
  const improved = cases.filter((c) => c.metric.endsWith('gain margin') && c.trueGain >= 3);
  const axes = new Set(improved.map((c) => `${String(c.seed)} ${c.axis}`));
  const foundAxes = [...axes].filter((key) => {
    const own = cases.filter(
      (c) => `${String(c.seed)} ${c.axis}` === key && c.pair === 'improvement' && c.metric.endsWith('margin'),
    );
    return own.some((c) => c.verdict === 'better') && !own.some((c) => c.verdict === 'worse');
  });
  const ratios = cases.flatMap((c) =>
    c.values.flatMap((v, h) =>
      v === null || c.std[h] == null || (c.truths[h]! > 25 && c.metric.endsWith('gain margin'))
        ? []
        : [Math.abs(v - c.truths[h]!) / c.std[h]],
    ),
  );
  return {
    pairs: pairs.length,
    verdicts: given.length,
    wrong: given.filter((c) => c.wrong).length,
    sameTune: sameTune.length,
    sameOrUnclear: sameTune.filter((c) => c.verdict === 'same' || c.verdict === 'unclear').length,
    same: sameTune.filter((c) => c.verdict === 'same').length,
    improvements: improved.length,
    found: improved.filter((c) => c.verdict === 'better').length,
    improvedAxes: axes.size,
    foundAxes: foundAxes.length,
    improvementsJudged: improved.filter((c) => c.verdict !== null).length,
    within1: ratios.filter((r) => r <= 1).length,
    within2: ratios.filter((r) => r <= 2).length,
    stated: ratios.length,
  };
}

/** Changes of effectiveness: how many pairs of 15 % were found, of what size, and how many pairs without one were said to have one. */
export function effectivenessFigures(pairs: readonly ComparedPair[]): {
  readonly changed: number;
  readonly found: number;
  readonly within5: number;
  readonly unchanged: number;
  readonly falseAlarms: number;
} {
  const changed = pairs.filter((p) => Math.abs(p.effectivenessRatio - 1) > 0.01);
  const found = changed.filter((p) => p.comparison.effectivenessChanges.length > 0);
  const within5 = found.filter((p) => {
    const widest = p.comparison.effectivenessChanges.reduce((a, b) =>
      b.axes.length > a.axes.length ? b : a,
    );
    return Math.abs(Math.exp(widest.lnRatio) - p.effectivenessRatio) < 0.05;
  });
  const unchanged = pairs.filter((p) => !changed.includes(p));
  return {
    changed: changed.length,
    found: found.length,
    within5: within5.length,
    unchanged: unchanged.length,
    falseAlarms: unchanged.filter((p) => p.comparison.effectivenessChanges.length > 0).length,
  };
}

const pct = (part: number, whole: number): string =>
  whole === 0 ? '–' : `${((100 * part) / whole).toFixed(1)} % of ${String(whole)}`;

export function formatComparisons(pairs: readonly ComparedPair[]): string {
  const lines: string[] = [];
  const describe = (name: string, own: readonly ComparedPair[]): void => {
    if (own.length === 0) return;
    const f = figuresOf(own);
    lines.push(
      `${name}: ${String(f.pairs)} pairs; verdicts wrong ${pct(f.wrong, f.verdicts)}; same tune called same or unclear ${pct(f.sameOrUnclear, f.sameTune)} (same ${pct(f.same, f.sameTune)}); ` +
        `improvements of 3 dB found ${pct(f.found, f.improvements)} (with a verdict: ${pct(f.found, f.improvementsJudged)}; by axis ${pct(f.foundAxes, f.improvedAxes)}); truth within one standard error ${pct(f.within1, f.stated)}, two ${pct(f.within2, f.stated)}`,
    );
  };
  for (const kind of PAIR_KINDS)
    describe(
      kind,
      pairs.filter((p) => p.kind === kind),
    );
  describe('all', pairs);
  const metrics = [...new Set(pairs.flatMap((p) => p.cases.map((c) => c.metric)))];
  for (const metric of metrics) {
    const own = pairs.map((p) => ({ ...p, cases: p.cases.filter((c) => c.metric === metric) }));
    describe(metric, own);
  }
  const k = effectivenessFigures(pairs);
  lines.push(
    `effectiveness changed by 15 %: found ${pct(k.found, k.changed)}, its size within 5 points ${pct(k.within5, k.found)}; said of unchanged aircraft ${pct(k.falseAlarms, k.unchanged)}`,
  );
  return lines.join('\n');
}

export function explainCase(c: VerdictCase): string {
  return `${c.pair} ${String(c.seed)} (${c.told}): ${c.axis} ${c.metric} called ${String(c.verdict)}; said ${c.values.map((v) => v?.toFixed(2)).join(' → ')} ± ${c.std.map((v) => v?.toFixed(2)).join(', ')}; true ${c.truths.map((v) => v.toFixed(2)).join(' → ')}; ${c.why ?? ''}`;
}

export function formatLines(cases: readonly LineCase[], why: boolean): string {
  return (['loop', 'structure'] as const)
    .map((truth) => {
      const own = cases.filter((c) => c.truth === truth);
      const followed = own.filter((c) => c.said !== null);
      const decided = followed.filter((c) => c.said!.origin !== 'unclear');
      const right = decided.filter((c) => c.said!.origin === truth);
      const wrong = followed
        .filter((c) => c.said!.origin !== truth)
        .map(
          (c) =>
            `\n  seed ${String(c.seed)}: ${c.axis} ${c.linearHz.toFixed(2)} Hz called ${c.said!.origin} (${c.said!.said.map((s) => s ?? '–').join(', ')}); ${c.said!.evidence.join('; ')}`,
        );
      return `${truth} over three hovers: followed ${pct(followed.length, own.length)}, decided ${pct(decided.length, followed.length)}, right ${pct(right.length, decided.length)}${why ? wrong.join('') : ''}`;
    })
    .join('\n');
}

const median = (values: readonly number[]): number =>
  [...values].sort((a, b) => a - b)[values.length >> 1] ?? NaN;

/** Gain that leaves the margin aimed at, from the margins of several hovers, against the truth. */
export function formatGainFits(cases: readonly LineCase[]): string {
  const fits = cases.flatMap(({ gainFit }) => gainFit ?? []);
  if (fits.length === 0) return 'gain against margin: no fit';
  const off = fits.map(({ saidDb, trueDb }) => Math.abs(saidDb - trueDb));
  const slopes = fits.map(({ slope, slopeStd }) => Math.abs(slope + 1) / slopeStd);
  return (
    `gain against margin: ${String(fits.length)} of ${String(cases.length)} fitted; gain for 8 dB off by ${median(off).toFixed(2)} dB (median), ` +
    `within 2 dB ${pct(off.filter((v) => v <= 2).length, off.length)}; slope −1 within one stated standard error ${pct(slopes.filter((r) => r <= 1).length, slopes.length)}, two ${pct(slopes.filter((r) => r <= 2).length, slopes.length)}`
  );
}

/** Truths further from the promise than this are not as expected; nearer than half of it they are (as the check itself has it). */
const OFF_DB = 3;
const OFF_DEG = 16;

export function formatSequences(cases: readonly SequenceCase[], why: boolean): string {
  const all = cases.flatMap(({ predictions }) => predictions);
  const told = all.filter(({ outcome }) => outcome === 'as expected' || outcome === 'not as expected');
  const same = told.filter(({ weakened }) => !weakened);
  const isOff = (c: (typeof all)[number]): boolean =>
    Math.abs(c.gainOffDb) > OFF_DB || Math.abs(c.phaseOffDeg) > OFF_DEG;
  const isNear = (c: (typeof all)[number]): boolean =>
    Math.abs(c.gainOffDb) < OFF_DB / 2 && Math.abs(c.phaseOffDeg) < OFF_DEG / 2;
  const [off, near] = [told.filter(isOff), told.filter(isNear)];
  const wrong = [
    ...off.filter(({ outcome }) => outcome === 'as expected'),
    ...near.filter(({ outcome }) => outcome === 'not as expected'),
  ];
  const next = cases.flatMap((c) => c.next);
  const unsafe = next.flatMap((c) => c.unsafe.map((u) => ({ ...u, seed: c.seed })));
  const count = (part: readonly { readonly outcome: string }[], outcome: string): number =>
    part.filter((c) => c.outcome === outcome).length;
  return [
    `predictions: ${String(all.length)}, of which the next hover showed ${pct(told.length, all.length)}; of the same aircraft the truth was off by ${median(same.map((c) => Math.abs(c.gainOffDb))).toFixed(2)} dB and ${median(same.map((c) => Math.abs(c.phaseOffDeg))).toFixed(1)}° (medians); ` +
      `true within ${(OFF_DB / 2).toFixed(1)} dB and ${(OFF_DEG / 2).toFixed(0)}°: called as expected ${pct(count(near, 'as expected'), near.length)}; off by ${String(OFF_DB)} dB or ${String(OFF_DEG)}°: called not as expected ${pct(count(off, 'not as expected'), off.length)}`,
    `next step of two hovers: ${String(next.length)} axes; good before ${pct(next.filter((c) => c.before.good).length, next.length)}, after ${pct(next.filter((c) => c.after.good).length, next.length)}; good left good ${pct(next.filter((c) => c.before.good && c.after.good).length, next.filter((c) => c.before.good).length)}; unsafe ${String(unsafe.length)}`,
    ...(why
      ? [
          ...wrong.map(
            (c) =>
              `  seed ${String(c.seed)}: ${c.outcome}, truth off by ${c.gainOffDb.toFixed(1)} dB and ${c.phaseOffDeg.toFixed(0)}°; ${c.summary}`,
          ),
          ...unsafe.map((u) => `  seed ${String(u.seed)}: ${u.axis} ${u.loop} loop became ${u.became}`),
        ]
      : []),
  ].join('\n');
}

export function formatVibration(cases: readonly VibrationVerdict[], why: boolean): string {
  const given = cases.filter((c) => c.verdict !== null);
  const same = given.filter((c) => Math.abs(c.trueChange) < 0.05);
  const changed = given.filter((c) => Math.abs(c.trueChange) > 0.4);
  const wrong = given
    .filter((c) => c.wrong)
    .map(
      (c) =>
        `\n  seed ${String(c.seed)}: ${c.metric} called ${String(c.verdict)}; said × ${Math.exp(c.saidChange ?? 0).toFixed(2)}, true × ${Math.exp(c.trueChange).toFixed(2)}`,
    );
  return `vibration: verdicts wrong ${pct(wrong.length, given.length)}; unchanged lines called same or unclear ${pct(same.filter((c) => c.verdict === 'same' || c.verdict === 'unclear').length, same.length)}; changes of 50 % found ${pct(changed.filter((c) => c.verdict === 'better' || c.verdict === 'worse').length, changed.length)}${why ? wrong.join('') : ''}`;
}
