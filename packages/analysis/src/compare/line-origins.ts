/**
 * What a line is, told from several hovers: one whose frequency moves with the gain is a loop, one that stays while the gain changed is
 * structure, one that moves with the rotors is a rotor's.
 */
import { AXES, type AxisName } from '@settle/parser';
import type { Finding, Origin } from '../diagnosis.js';
import { chiSquareQuantile } from '../statistics/distributions.js';
import type { AxisLoopsOverHovers } from './axis-loops.js';
import type { HoverSummary } from './hover-summary.js';
import { gainSteps } from './builds.js';
import { followAxis, type Seen } from './line-chains.js';

export interface LineOrigin {
  readonly axis: AxisName;
  /** One per hover; null where it does not show. */
  readonly frequenciesHz: readonly (number | null)[];
  /** Gain of the rate loop relative to the first of these hovers, dB; null where not known. */
  readonly gainDb: readonly (number | null)[];
  /** The axis swings in it in one hover at least; else only the vibration of its gyro shows it. */
  readonly oscillates: boolean;
  /** What each hover by itself took it for. */
  readonly said: readonly (Origin | null)[];
  readonly origin: 'loop' | 'structure' | 'rotor' | 'unclear';
  readonly confidence: number;
  readonly evidence: readonly string[];
}

/** Gains must range over this to tell anything, dB. */
const LEAST_RANGE_DB = 1.5;
/** How far a line stands from where it should, ln: what fits and models miss; held on the verge by the stops it moves less. */
const LOOP_STD = { free: 0.04, held: 0.018 };
const STRUCTURE_STD = 0.012;
/** Nine times as likely as the other is sure enough to be said (log likelihood). */
const DECIDED = Math.log(9);
/** Loops of such aircraft are slower, structures faster than this, Hz; how strongly that speaks (common practice, no source). */
const FASTEST_LOOP_HZ = 12;

export function lineOrigins(
  hovers: readonly HoverSummary[],
  builds: readonly number[],
  loops: readonly AxisLoopsOverHovers[],
): LineOrigin[] {
  return AXES.flatMap((axis) =>
    followAxis(hovers, builds, axis).flatMap((chain) => {
      const own = loops.find((l) => l.axis === axis)!;
      const told = tell(chain, hovers, own);
      return told === null ? [] : [told];
    }),
  );
}

function tell(
  chain: readonly Seen[],
  hovers: readonly HoverSummary[],
  loops: AxisLoopsOverHovers,
): LineOrigin | null {
  const { axis } = loops;
  const first = chain[0]!.hover;
  const gains = chain.map(({ hover }) =>
    hover === first ? 0 : gainChangeDb(hovers[first]!, hovers[hover]!, axis),
  );
  const known = gains.filter((g): g is number => g !== null);
  if (known.length < chain.length || Math.max(...known) - Math.min(...known) < LEAST_RANGE_DB) return null;
  const ln = chain.map(({ hz }) => Math.log(hz));
  const rotor = rotorFollowing(chain, hovers);
  const modelled = chain.map((seen) => modelledHz(seen, loops));
  const hasModel = modelled.every((hz): hz is number => hz !== null && hz > 0);
  const scatter = chain.map(({ hz, stdHz }) => stdHz / hz);
  const loopFit = fitLoop(chain, known, hasModel ? modelled : null);
  const stays = misfit(
    ln,
    scatter,
    chain.map(() => STRUCTURE_STD),
    null,
  );
  const mean = Math.exp(ln.reduce((a, b) => a + b, 0) / ln.length);
  const prior = Math.min(2, 3 * Math.log(mean / FASTEST_LOOP_HZ));
  const balance = loopFit.cost - stays.cost + prior + saidBalance(chain);
  // Where not even the likelier tells the frequencies, what was followed is not one line.
  const likelier = balance > 0 ? stays : loopFit;
  const isOne = likelier.square < LOOP_STD.free ** 2 * chiSquareQuantile(ONE_LINE, chain.length - 1);
  const decided = balance > DECIDED ? 'structure' : balance < -DECIDED ? 'loop' : 'unclear';
  const origin = rotor !== null ? 'rotor' : isOne ? decided : 'unclear';
  const moved = (100 * (Math.exp(Math.max(...ln) - Math.min(...ln)) - 1)).toFixed(0);
  const range = (Math.max(...known) - Math.min(...known)).toFixed(1);
  return {
    axis,
    frequenciesHz: hovers.map((_, h) => chain.find((s) => s.hover === h)?.hz ?? null),
    gainDb: hovers.map((_, h) => {
      const at = chain.findIndex((s) => s.hover === h);
      return at < 0 ? null : gains[at]!;
    }),
    oscillates: chain.some(({ oscillates }) => oscillates),
    said: hovers.map((_, h) => chain.find((s) => s.hover === h)?.origin ?? null),
    origin,
    confidence:
      origin === 'unclear'
        ? 0.5
        : rotor !== null
          ? 0.9
          : Math.min(0.98, 1 / (1 + Math.exp(-Math.abs(balance)))),
    evidence: [
      rotor ??
        `over ${String(chain.length)} hovers the gain ranged over ${range} dB and the frequency over ${moved} % (${chain.map(({ hz }) => hz.toFixed(2)).join(', ')} Hz)`,
      ...(hasModel
        ? [`the identified loops would swing at ${modelled.map((hz) => hz.toFixed(2)).join(', ')} Hz`]
        : []),
    ],
  };
}

/** @param modelled where the identified loops would swing, Hz; null: not known */
function fitLoop(
  chain: readonly Seen[],
  gainsDb: readonly number[],
  modelled: readonly number[] | null,
): Misfit {
  // Held by the motors' stops a loop swings where its phase crosses over, whatever the gain: then frequency tells nothing by itself.
  const held = chain.every((seen) => seen.selfSustained);
  const against = (expected: readonly number[], offsetStd: number | null): Misfit =>
    misfit(
      chain.map(({ hz }, i) => Math.log(hz) - expected[i]!),
      chain.map(({ hz, stdHz }) => stdHz / hz),
      chain.map(({ selfSustained }) => (selfSustained ? LOOP_STD.held : LOOP_STD.free)),
      offsetStd,
    );
  const byGain = against(
    gainsDb.map((db) => (held ? 0 : LOOP_SLOPE * ((db * Math.LN10) / 20))),
    null,
  );
  if (modelled === null) return byGain;
  const byModel = against(
    modelled.map((hz) => Math.log(hz)),
    MODEL_OFFSET,
  );
  return likelierOf(byModel, { ...byGain, cost: byGain.cost - Math.log(MODEL_WRONG) });
}

/** How much of what single hovers said counts: they share aircraft and log, so they are not independent. */
const SAID_SHARE = 0.5;

/** What single hovers took it for, as a log likelihood for structure. */
function saidBalance(chain: readonly Seen[]): number {
  return chain.reduce((sum, { origin, confidence }) => {
    const logit = Math.log(Math.min(0.95, confidence) / (1 - Math.min(0.95, confidence)));
    if (origin === 'structure') return sum + SAID_SHARE * Math.max(0, logit);
    return LOOP_ORIGINS.has(origin) ? sum - SAID_SHARE * Math.max(0, logit) : sum;
  }, 0);
}

/** A pole better damped than this shows no line. */
const SHOWS = 0.5;

/**
 * Where the identified loops would swing nearest to what is seen: at a pole, or where the stops hold them on the verge. One that is
 * held is on the verge, wherever the linear poles are.
 */
function modelledHz(seen: Seen, loops: AxisLoopsOverHovers): number | null {
  const own = loops.hovers[seen.hover]!;
  if (own.best === null) return null;
  if (seen.held && own.vergeHz !== null) return own.vergeHz;
  const places = own.poles.filter(({ dampingRatio }) => dampingRatio < SHOWS).map(({ hz }) => hz);
  if (own.vergeHz !== null) places.push(own.vergeHz);
  const distance = (hz: number): number => Math.abs(Math.log(hz / seen.hz));
  return places.reduce<number | null>((a, b) => (a === null || distance(b) < distance(a) ? b : a), null);
}

/** Exponent of a rate loop's own frequency over its gain: between 0.3 and 0.6 for a lagging plant (worked out, typical loops). */
const LOOP_SLOPE = 0.4;
/** How often the identified loops are no guide to a swing, so that it is as if none were known (judgement). */
const MODEL_WRONG = 0.15;
/** How far off, as a whole, the identified loops' swing may be (ln): a swing at the stops is slower than the linear pole. */
const MODEL_OFFSET = 0.15;

interface Misfit {
  readonly square: number;
  readonly cost: number;
}

const likelierOf = (a: Misfit, b: Misfit): Misfit => (b.cost < a.cost ? b : a);

/** Share of the chains of one line that stay nearer to what is expected of them, each frequency missed as a free loop's is. */
const ONE_LINE = 0.999;

/**
 * Sum of squares about the best common offset, which itself must be likely where `offsetStd` is given, and minus the log likelihood
 * that the residuals amount to.
 */
function misfit(
  residuals: readonly number[],
  scatter: readonly number[],
  std: readonly number[],
  offsetStd: number | null,
): Misfit {
  const weights = scatter.map((s, i) => 1 / (s * s + std[i]! ** 2));
  const total = weights.reduce((a, b) => a + b, 0) + (offsetStd === null ? 0 : offsetStd ** -2);
  const offset = residuals.reduce((sum, r, i) => sum + weights[i]! * r, 0) / total;
  const square = residuals.reduce((sum, r) => sum + (r - offset) ** 2, 0);
  const weighted = residuals.reduce((sum, r, i) => sum + weights[i]! * (r - offset) ** 2, 0);
  // The offset is integrated out: it uses up one of the frequencies, so two of them do not speak twice for what is narrow.
  const spread = Math.log(total) - weights.reduce((sum, w) => sum + Math.log(w), 0);
  const cost = 0.5 * (weighted + (offsetStd === null ? 0 : (offset / offsetStd) ** 2) + spread);
  return { square, cost };
}

/** Change of the rate loop's gain in dB, mean over the terms that changed; null where no gains are known. */
function gainChangeDb(a: HoverSummary, b: HoverSummary, axis: AxisName): number | null {
  if (a.axes[axis].controller === null || b.axes[axis].controller === null) return null;
  const steps = gainSteps(a, b).filter((step) => step.axis === axis && step.term !== 'FF');
  if (steps.length === 0) return 0;
  const largest = steps.reduce((most, s) =>
    Math.abs(Math.log(s.factor)) > Math.abs(Math.log(most.factor)) ? s : most,
  );
  return 20 * Math.log10(largest.factor);
}

/** Rotor speeds must range over this share. */
const LEAST_SPEED_RANGE = 0.04;
const SAME_ORDER = 0.01;

/** A line that keeps its multiple of a rotor speed that changed. */
function rotorFollowing(chain: readonly Seen[], hovers: readonly HoverSummary[]): string | null {
  const speeds = chain.map(({ hover }) => hovers[hover]!.rotorHz?.value ?? null);
  if (!speeds.every((v): v is number => v !== null)) return null;
  if (Math.max(...speeds) / Math.min(...speeds) - 1 < LEAST_SPEED_RANGE) return null;
  const orders = chain.map(({ hz }, i) => hz / speeds[i]!);
  return Math.max(...orders) / Math.min(...orders) - 1 < SAME_ORDER
    ? `it keeps ${orders[0]!.toFixed(2)} times the rotor speed, which went from ${Math.min(...speeds).toFixed(1)} to ${Math.max(...speeds).toFixed(1)} Hz`
    : null;
}

const LOOP_ORIGINS: ReadonlySet<Origin | null> = new Set<Origin | null>(['rate-loop', 'attitude-loop']);

/** Findings where the sequence corrects what single hovers took a line for. */
export function originFindings(origins: readonly LineOrigin[]): Finding[] {
  return origins.flatMap((line): Finding[] => {
    // What only the gyro shows is told with the vibration.
    if (!line.oscillates) return [];
    const said = line.said.filter((s) => s !== null);
    const hz = line.frequenciesHz.filter((v) => v !== null);
    if (line.origin === 'structure' && said.some((s) => s !== 'structure'))
      return [
        {
          id: 'structural-resonance',
          axis: line.axis,
          severity: 'fault',
          confidence: line.confidence,
          summary: `the ${line.axis} oscillation at ${hz.at(-1)!.toFixed(1)} Hz stays where it is while the gains change: it is the structure, not a loop`,
          evidence: line.evidence,
        },
      ];
    if (line.origin === 'loop' && said.some((s) => !LOOP_ORIGINS.has(s)))
      return [
        {
          id: 'oscillation',
          axis: line.axis,
          severity: 'fault',
          confidence: line.confidence,
          summary: `the ${line.axis} oscillation at ${hz.at(-1)!.toFixed(1)} Hz moves with the gains: it is a loop, not the structure`,
          evidence: line.evidence,
        },
      ];
    return [];
  });
}
