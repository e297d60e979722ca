/** What the identified loops, the motors and the motion say about each axis, as findings. */
import type { LoopMargins } from '../control/margins.js';
import type { AxisName } from '@settle/parser';
import type { AxisStudy } from '../axis-study.js';
import {
  isUnavailable,
  type Actuators,
  type Finding,
  type Severity,
  type Unavailable,
} from '../diagnosis.js';
import { guiltyTerm } from './explain.js';
import type { GainDecision } from './decide-gains.js';
import type { AxisDecision } from './gain-advice.js';
import type { BothMargins } from './loop-model.js';

interface LoopContext {
  readonly studies: readonly AxisStudy[];
  readonly decisions: readonly AxisDecision[];
  readonly actuators: Actuators | Unavailable;
}

/** Below the requirement of 6 dB and 45° by this much a loop is called too tight, beyond doubt a danger. */
const REQUIRED = { gainMarginDb: 6, phaseMarginDeg: 45 };
/** Gain limits beyond this share of authority for holding level leave little for gusts (common practice, no source). */
const LOW_AUTHORITY = 0.35;

/** How sure a loop is called too loose at most. */
const WEAK_SURE = 0.8;

/** A narrow peak of one axis alone: in simulated calm hovers of stable loops, one in a hundred was none of the structure (judgement). */
const SHAKEN_SURE = 0.75;

export function loopFindings({ studies, decisions, actuators }: LoopContext): Finding[] {
  const out: Finding[] = [];
  for (const decision of decisions) out.push(...axisFindings(decision, studies));
  if (decisions.length === 3 && out.length === 0) {
    const settled = decisions.filter((d) => d.measured?.why === 'margins-met').map((d) => d.axis);
    const quiet = studies.every((study) => study.oscillations.length === 0);
    if (quiet && settled.length === 3)
      out.push({
        id: 'well-damped',
        axis: null,
        severity: 'note',
        confidence: 0.85,
        summary: 'all three axes keep the wanted margins and nothing oscillates',
        evidence: decisions.map((d) => `${d.axis}: ${marginText(d.measured!.today.rate)}`),
      });
  }
  out.push(...decisions.flatMap((decision) => shakenFinding(decision, studies)));
  if (!isUnavailable(actuators))
    for (const { axis } of decisions) {
      const trim = actuators.trim[axis];
      if (trim === null || Math.abs(trim) < LOW_AUTHORITY) continue;
      out.push({
        id: 'authority-low',
        axis,
        severity: 'danger',
        confidence: 0.9,
        summary: `${axis} holds level with ${(100 * Math.abs(trim)).toFixed(0)} % of its authority, which leaves too little for gusts`,
        evidence: [`the mean ${axis} demand in hover is ${trim.toFixed(3)}`],
      });
    }
  return out;
}

/** Something of the structure that gusts shake; one that rings is found among the oscillations. */
function shakenFinding({ axis, id, measured }: AxisDecision, studies: readonly AxisStudy[]): Finding[] {
  const rings = studies.some(
    (study) => study.axis === axis && study.oscillations.some((line) => line.origin === 'structure'),
  );
  if (id.structuralPeak === null || measured === null || rings) return [];
  const { frequencyHz, riseDb } = id.structuralPeak;
  return [
    finding(
      'structural-resonance',
      axis,
      'note',
      SHAKEN_SURE,
      `something of the structure shakes ${axis} at ${frequencyHz.toFixed(1)} Hz; the rate loop may find its gain limit there before the margins say so`,
      [
        `the ${axis} rate’s spectrum stands ${riseDb.toFixed(0)} dB above what lies around it, at least twice as much (in dB) as on the other axes; no swing has a multiple there`,
        'the peak was seen, what it does to the loop was not: the stated gain margin holds for an aircraft that does not bend',
      ],
    ),
  ];
}

function axisFindings(d: AxisDecision, studies: readonly AxisStudy[]): Finding[] {
  const { axis, id, measured, rule } = d;
  const lines = studies.find((study) => study.axis === axis)?.oscillations ?? [];
  if (rule?.why === 'bends') return [];
  if (rule !== null)
    return rule.why === 'wanders'
      ? [
          finding(
            'loop-too-loose',
            axis,
            'danger',
            0.6,
            `${axis} wanders slowly and far: its loop is too weak to hold it, and a gust can tip it over`,
            [
              `the ${axis} rate moves by ${(57.3 * id.motion.rateStd).toFixed(0)} deg/s at ${id.motion.rateHz.toFixed(1)} Hz on average`,
            ],
          ),
        ]
      : [
          finding(
            'rate-loop-too-tight',
            axis,
            'fault',
            0.6,
            `the ${axis} demand shakes by ±${(100 * id.motion.fastDemandStd).toFixed(0)} % of full authority: too much gain for what the gyro sees`,
            [`mean frequency of the demand ${id.motion.demandHz.toFixed(0)} Hz, faster than anybody flies`],
          ),
        ];
  if (measured === null) return [];
  const { rate, attitude } = measured.today;
  const out: Finding[] = [];
  const structural = lines.some((line) => line.origin === 'structure');
  const ringing = lines.some((line) => line.origin === 'rate-loop');
  const weak = rate !== null && !meetsRequirement(rate) && !ringing && isOnlyWeak(rate, measured);
  if (weak) out.push(weakFinding(d, rate));
  else if (rate !== null && !meetsRequirement(rate) && !structural) {
    const guilty = guiltyTerm(id);
    const term = guilty?.term ?? 'all';
    const name =
      term === 'D' ? 'derivative-too-strong' : term === 'I' ? 'integral-too-strong' : 'rate-loop-too-tight';
    const what = term === 'all' ? 'all rate gains together' : `the ${term} gain above all`;
    out.push(
      finding(
        name,
        axis,
        severityOf(rate),
        sureness(d, 'rate'),
        `the ${axis} rate loop ${shortOf(rate)} (${marginText(rate)}): ${what}`,
        [
          `required: ${String(REQUIRED.gainMarginDb)} dB and ${String(REQUIRED.phaseMarginDeg)}°`,
          ...(guilty === null ? [] : [guilty.evidence]),
          `plant from ${id.from}`,
        ],
      ),
    );
  }
  if (attitude !== null && rate?.stable === true && !meetsRequirement(attitude))
    out.push(
      finding(
        'attitude-loop-too-tight',
        axis,
        severityOf(attitude),
        sureness(d, 'attitude'),
        `the ${axis} attitude loop is too tight for the rate loop inside it (${marginText(attitude)})`,
        [
          `margins of the rate loop by itself: ${marginText(rate)}`,
          ...(measured.factors !== null && measured.factors.attitude >= 1
            ? ['the rate loop is what is too slow: once it is faster, the attitude gain need not come down']
            : []),
          `plant from ${id.from}`,
        ],
      ),
    );
  if (!weak && measured.why === 'too-loose' && measured.crossoverShare !== null)
    out.push(
      finding(
        'loop-too-loose',
        axis,
        measured.crossoverShare < 0.3 ? 'fault' : 'note',
        WEAK_SURE,
        `the ${axis} rate loop is slower than it could be: it crosses over at ${(100 * measured.crossoverShare).toFixed(0)} % of what the wanted margins allow`,
        [
          `margins today ${marginText(rate)}`,
          ...(measured.factors === null && measured.limited !== null
            ? [`left as it is: ${measured.limited}`]
            : []),
          ...(measured.crossoverShare < 0.3 ? [weakHarm(axis)] : []),
        ],
      ),
    );
  return out;
}

/**
 * Whether a loop short of phase gets its margin by raising every gain: none of them is too strong. One that is near swinging, where a
 * term can be too strong for the others although all are weak, stays a danger by its own name.
 */
export function isOnlyWeak(rate: NonNullable<BothMargins['rate']>, { factors }: GainDecision): boolean {
  return (
    severityOf(rate) !== 'danger' &&
    (rate.gainMarginDb ?? 99) >= REQUIRED.gainMarginDb &&
    factors !== null &&
    Math.min(factors.P, factors.I, factors.D) >= 1 &&
    factors.P > 1
  );
}

function weakFinding(d: AxisDecision, rate: NonNullable<BothMargins['rate']>): Finding {
  const share = d.measured?.crossoverShare ?? null;
  const slow =
    share === null
      ? ''
      : `; it crosses over at ${(100 * share).toFixed(0)} % of what the wanted margins allow`;
  return finding(
    'loop-too-loose',
    d.axis,
    'fault',
    Math.min(WEAK_SURE, sureness(d, 'rate')),
    `the ${d.axis} rate loop is too weak to damp itself (${marginText(rate)})${slow}`,
    [
      `required: ${String(REQUIRED.gainMarginDb)} dB and ${String(REQUIRED.phaseMarginDeg)}°; here more gain gives the phase margin that is missing, not less`,
      weakHarm(d.axis),
      `plant from ${d.id.from}`,
    ],
  );
}

function finding(
  id: string,
  axis: AxisName,
  severity: Severity,
  confidence: number,
  summary: string,
  evidence: readonly string[],
): Finding {
  return { id, axis, severity, confidence, summary, evidence };
}

function meetsRequirement(m: NonNullable<BothMargins['rate']>): boolean {
  return (
    m.stable &&
    (m.gainMarginDb ?? 99) >= REQUIRED.gainMarginDb &&
    (m.phaseMarginDeg ?? 180) >= REQUIRED.phaseMarginDeg
  );
}

function severityOf(m: NonNullable<BothMargins['rate']>): Severity {
  return !m.stable || (m.gainMarginDb ?? 99) < 3 || (m.phaseMarginDeg ?? 180) < 20 ? 'danger' : 'fault';
}

/** Share of the plausible plants that agree with the best one about the requirement. */
function sureness(d: AxisDecision, loop: 'rate' | 'attitude'): number {
  return Math.min(0.97, Math.max(0.5, 1 - (d.measured?.kept[loop] ?? 0.3)));
}

export function marginText(m: BothMargins['rate']): string {
  if (m === null) return 'unknown';
  const gain = m.gainMarginDb === null ? 'no gain limit' : `gain margin ${m.gainMarginDb.toFixed(1)} dB`;
  const phase = m.phaseMarginDeg === null ? '' : `, phase margin ${m.phaseMarginDeg.toFixed(0)}°`;
  return `${m.stable ? '' : 'unstable, '}${gain}${phase}`;
}

function weakHarm(axis: AxisName): string {
  return axis === 'yaw'
    ? 'so weak a loop lets gusts turn the nose away'
    : 'so weak a loop holds little against gusts and can tip over';
}

/** A gain margin this wide with too little phase is no loop that is turned up too far. */
const WIDE_GAIN_DB = 10;

function shortOf({ stable, gainMarginDb }: LoopMargins): string {
  return stable && gainMarginDb !== null && gainMarginDb > WIDE_GAIN_DB
    ? 'has too little phase margin'
    : 'is too tight';
}
