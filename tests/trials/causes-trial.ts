/** Causes against truth: labelled random flights, diagnosed with the gains file a pilot would give. */
import { diagnose } from '@settle/analysis';
import { parseGains } from '@settle/parser';
import { simulateRandom, toFlight, toGainsFile, type RandomKind } from '@settle/simulator';

export const LABELLED_KINDS: readonly RandomKind[] = [
  'limit-cycle',
  'growing',
  'driven',
  'attitude-swing',
  'position-swing',
  'pilot-stir',
  'structure',
];

export interface CauseCase {
  readonly kind: RandomKind;
  readonly seed: number;
  readonly truth: string;
  /** `missed`: no such oscillation was reported, or only as a companion of another axis. */
  readonly said: string;
  readonly confidence: number;
  /** Of rate loops found as such: whether the finding blames the term that was raised; null elsewhere. */
  readonly termRight: boolean | null;
}

const BLAMES: Readonly<Record<string, string>> = {
  P: 'rate-loop-too-tight',
  rate: 'rate-loop-too-tight',
  I: 'integral-too-strong',
  D: 'derivative-too-strong',
};

export function causeCases(kind: RandomKind, seed: number): CauseCase[] {
  const { sim, shown } = simulateRandom(kind, seed);
  const gains = parseGains(JSON.stringify(toGainsFile(sim.config)), 'gains.json');
  const diagnosis = diagnose(toFlight(sim), { gains, vibration: false });
  return shown.map((line): CauseCase => {
    const found = diagnosis.axes[line.axis].oscillations.find(
      (o) => Math.abs(Math.log(o.frequencyHz / line.frequencyHz)) < 0.22,
    );
    const said = found === undefined || found.follows !== null ? 'missed' : found.origin;
    const wanted = line.term === null ? undefined : BLAMES[line.term];
    const blamed = diagnosis.findings.some((f) => f.axis === line.axis && f.id === wanted);
    return {
      kind,
      seed,
      truth: line.origin,
      said,
      confidence: found?.confidence ?? 0,
      termRight: said === 'rate-loop' && line.origin === 'rate-loop' && wanted !== undefined ? blamed : null,
    };
  });
}

export interface CauseSummary {
  readonly named: number;
  readonly right: number;
  readonly unknown: number;
  readonly missed: number;
  readonly terms: number;
  readonly termsRight: number;
  /** Mean of the stated confidence over those named, to be compared with right over named. */
  readonly meanConfidence: number;
}

export function summariseCauses(cases: readonly CauseCase[]): CauseSummary {
  const named = cases.filter((c) => c.said !== 'missed' && c.said !== 'unknown');
  const count = (list: readonly CauseCase[], keep: (c: CauseCase) => boolean): number =>
    list.filter(keep).length;
  return {
    named: named.length,
    right: count(named, (c) => c.said === c.truth),
    unknown: count(cases, (c) => c.said === 'unknown'),
    missed: count(cases, (c) => c.said === 'missed'),
    terms: count(cases, (c) => c.termRight !== null),
    termsRight: count(cases, (c) => c.termRight === true),
    meanConfidence: named.reduce((sum, c) => sum + c.confidence / named.length, 0),
  };
}

export function formatCauses(name: string, s: CauseSummary): string {
  return `${name.padEnd(16)} named ${String(s.named)}, right ${String(s.right)} (stated ${(100 * s.meanConfidence).toFixed(0)} %), unknown ${String(s.unknown)}, missed ${String(s.missed)}; terms right ${String(s.termsRight)} of ${String(s.terms)}`;
}
