/**
 * Which filters to add so that vibration makes less than 1 % of ripple in the demand, at the least phase lag at the rate loop's
 * crossover; none where it does already.
 */
import type { AxisName, BodyAxis } from '@settle/parser';
import type { Notch } from '../diagnosis.js';
import { widthInOtherDefinitionHz } from '../filters/index.js';
import type { AxisController } from '../identification/controller.js';
import { REQUIRED } from '../identification/gain-search.js';
import { tabulateAlternatives, type TradeInput } from './alternatives.js';
import { bandRms, compareBeforeAfter, gyroSignal, runOverGyro, type RunInput } from './before-after.js';
import {
  defaultGrid,
  findTargets,
  lowPassCandidates,
  notchCandidates,
  notchLagDeg,
  type CandidateInput,
} from './candidate-filters.js';
import { modelRipple, rippleAs, rippleOf, worstOf, type RippleModel } from './demand-ripple.js';
import { findExistingFilters, type ExistingFilters } from './existing-filters.js';
import { lagPoint } from './filtered-margins.js';
import { filterSet, leastLag, mostForLag, type FilterSet, type SearchInput } from './place-notches.js';
import type {
  Alternative,
  GyroSpectra,
  NotchInput,
  PerAxis,
  NotchPlan,
  NotchSetting,
  PlacedNotch,
  StudiedPlan,
} from './plan-types.js';
import { sampleSpeeds, type SpeedSamples } from './speed-samples.js';

const DEG = 180 / Math.PI;
/** Lag a filter may cost where the loop's margins are not known, degrees (common practice, no source). */
const LAG_CAP_UNKNOWN_DEG = 25;
/** And where they are known and have nothing to spare: gains are decided again with the filters in the loop. */
const LEAST_LAG_CAP_DEG = 10;

/** What to add, without the spectra behind it. */
export function planNotches(input: NotchInput): NotchPlan {
  return studyNotches(input).plan;
}

export function studyNotches(input: NotchInput): StudiedPlan {
  const { flight, hover, study, controllers, flown, loops, gains } = input;
  const existing = findExistingFilters(flight, hover, gains);
  const speeds = sampleSpeeds(flight, study);
  const filterRateHz = filterRate(input);
  const lag = lagPoint(loops);
  const model = modelRipple({
    flight,
    hover,
    study,
    controllers,
    flown: flown ?? controllers,
    swinging: input.swinging ?? new Set(),
    existing,
    speeds,
    filterRateHz,
    rippleTarget: input.rippleTarget,
  });
  const candidate: CandidateInput = {
    model,
    existing,
    speeds,
    filterRateHz,
    lagAtHz: lag.hz,
    grid: defaultGrid(lag.hz, filterRateHz, existing.lowPassHz),
  };
  const assumptions = [
    ...existing.assumptions,
    ...model.assumptions,
    ...(lag.assumption === null ? [] : [lag.assumption]),
    ...assumptionsOf(input, existing, filterRateHz),
  ];
  if (model.axes.length === 0)
    return {
      plan: undecidedPlan(candidate, assumptions, lag.from),
      spectra: [],
      rippleWith: () => null,
    };
  const targets = findTargets(model, filterRateHz);
  const search: SearchInput = {
    model,
    notches: notchCandidates(candidate, targets),
    lowPasses: lowPassCandidates(candidate),
  };
  const trade: TradeInput = { ...candidate, search, loops };
  const before = rippleOf(model);
  const today = Object.fromEntries(
    model.axes.map((axis) => {
      const [own, next] = [flown?.[axis], controllers[axis]];
      return [
        axis,
        own === undefined || next === undefined ? before[axis]! : rippleAs(model, axis, next, own),
      ];
    }),
  );
  const decision = decide(trade, today);
  const alternatives = tabulateAlternatives(trade, decision.set);
  const advised = alternatives.find((each) => each.name === 'advised') ?? alternatives[0]!;
  const run: RunInput = {
    flight,
    hover,
    study,
    existing,
    model,
    notches: advised.notches,
    lowPass: advised.lowPass,
  };
  const runs = runOverGyro(run);
  const plan: NotchPlan = {
    needed: decision.needed,
    undecided: null,
    meetsTarget: advised.meetsTarget,
    because: [...decision.because, ...foldedNotes(model)],
    notches: advised.notches.map((setting, i) =>
      placeNotch(setting, decision.set.notches[i]!.target, {
        trade,
        speeds,
        runs,
        targetLines: targets.map((t) => t.lines),
      }),
    ),
    lowPass: advised.lowPass,
    alternatives,
    ripple: { flown: today, before, after: advised.ripple, target: model.target },
    beforeAfter: compareBeforeAfter(run, runs, filterRateHz),
    lagAtHz: lag.hz,
    lagAtFrom: lag.from,
    marginsAfter: advised.margins,
    filterRateHz,
    assumptions,
  };
  const rippleWith = (axis: AxisName, controller: AxisController): number | null => {
    const next = controllers[axis];
    return next === undefined ? null : rippleAs(model, axis, next, controller, decision.set.powerGain);
  };
  return { plan, spectra: runs, rippleWith };
}

/** Placed notches as the contract has them. */
export function describeNotches(plan: NotchPlan): Notch[] {
  return plan.notches.map((n) => ({
    centreHz: n.centreHz,
    bandwidthHz: n.bandwidthHz,
    depthDb: n.depthDb,
    orders: n.orders,
    scheduledBy: n.scheduledBy,
    holdsAt: n.holdsAt,
    phaseLagDeg: n.phaseLagDeg,
    phaseLagAtHz: n.phaseLagAtHz,
    noiseBeforeDegS: n.noiseBeforeDegS,
    noiseAfterDegS: n.noiseAfterDegS,
  }));
}

interface Decision {
  readonly set: FilterSet;
  readonly needed: boolean;
  readonly because: readonly string[];
}

/** Natural log: as good as the same. */
const SAME_RIPPLE = 0.05;

function decide(trade: TradeInput, flown: PerAxis<number>): Decision {
  const { model, search } = trade;
  const none = filterSet(model, [], null);
  const next = rippleOf(model);
  const percent = (value: number): string => `${(100 * value).toPrecision(2)} %`;
  const worst = worstOf(next);
  const where = Object.entries(next).find(([, value]) => value === worst)?.[0] ?? '';
  const before = Object.entries(flown).find(([axis]) => axis === where)?.[1] ?? worst;
  const gains =
    Math.abs(Math.log(before / worst)) < SAME_RIPPLE
      ? ''
      : ` with the gains advised, ${percent(before)} with those flown`;
  const level = `vibration makes a ripple of ${percent(worst)} of full demand on ${where}${gains} (√2·RMS; ${percent(model.target)} is allowed)`;
  if (worst <= model.target) return { set: none, needed: false, because: [`${level}: no filter is needed`] };
  const best = leastLag(search);
  const cap = lagCap(trade);
  if (best !== null && best.lagDeg <= cap.deg) return { set: best, needed: true, because: [level] };
  const most = mostForLag(search, cap.deg);
  const left = percent(worstOf(rippleOf(model, most.powerGain)));
  const why =
    best === null
      ? 'no notches and low-pass together reach that'
      : `what reaches it costs ${best.lagDeg.toFixed(0)}° at the crossover, and ${cap.why}`;
  const nothing = most.notches.length === 0;
  return {
    set: most,
    needed: true,
    because: [
      level,
      `${why}; ${nothing ? 'nothing worth its lag can be filtered out' : `these take it to ${left}`}: balance the props, mend mounts and arms, or lower the gains first`,
    ],
  };
}

/** How much phase there is to spend: what the rate loops have beyond the 45° required. */
function lagCap({ loops }: TradeInput): { deg: number; why: string } {
  const known = Object.values(loops).flatMap((id) => {
    const margin = id.margins?.rate?.stable === true ? id.margins.rate.phaseMarginDeg : null;
    return margin === null ? [] : [margin - REQUIRED.phaseMarginDeg];
  });
  if (known.length === 0)
    return {
      deg: LAG_CAP_UNKNOWN_DEG,
      why: `without known margins no more than ${LAG_CAP_UNKNOWN_DEG}° is risked`,
    };
  const spare = Math.max(LEAST_LAG_CAP_DEG, Math.min(...known));
  return {
    deg: spare,
    why: `the rate loops have ${spare.toFixed(0)}° to spare over the ${REQUIRED.phaseMarginDeg}° required`,
  };
}

function undecidedPlan(
  candidate: CandidateInput,
  assumptions: readonly string[],
  from: NotchPlan['lagAtFrom'],
): NotchPlan {
  const none: Alternative = {
    name: 'no new filter',
    notches: [],
    lowPass: null,
    ripple: {},
    worstRipple: 0,
    meetsTarget: false,
    phaseLagDeg: 0,
    lagsDeg: [],
    margins: {},
  };
  const undecided =
    'neither the controller’s gains nor a demand at the gyro’s rate is known, so what the vibration does in the demand cannot be told; give the gains with --gains, or log demands at the rate of the gyro';
  return {
    needed: false,
    undecided,
    meetsTarget: false,
    because: [undecided],
    notches: [],
    lowPass: null,
    alternatives: [none],
    ripple: { flown: {}, before: {}, after: {}, target: candidate.model.target },
    beforeAfter: [],
    lagAtHz: candidate.lagAtHz,
    lagAtFrom: from,
    marginsAfter: {},
    filterRateHz: candidate.filterRateHz,
    assumptions,
  };
}

/** Told, else that of the controllers' step, else that of the logged gyro. */
function filterRate({ gains, controllers, flight }: NotchInput): number {
  if (gains?.loopRateHz != null) return gains.loopRateHz;
  const steps = Object.values(controllers).map((c) => 1 / c.stepS);
  const rates = (['x', 'y', 'z'] as const).flatMap(
    (axis) => gyroSignal(flight, axis)?.clock.sampleRateHz ?? [],
  );
  return Math.max(50, ...steps, ...rates);
}

function assumptionsOf(
  { gains, controllers, flight, study }: NotchInput,
  existing: ExistingFilters,
  filterRateHz: number,
): string[] {
  const out: string[] = [];
  if (gains?.loopRateHz == null)
    out.push(
      `the rate at which the controller filters is not told; ${filterRateHz.toFixed(0)} Hz is taken; give "loopRateHz" in the gains file`,
    );
  const derivative = Object.values(controllers).some((c) => c.kd > 0 && c.derivativeLowPassHz === null);
  if (derivative)
    out.push(
      'no low-pass on the derivative term is known; if there is one, the ripple is smaller than stated',
    );
  const missing = (['roll', 'pitch', 'yaw'] as const).filter((axis) => controllers[axis] === undefined);
  if (missing.length > 0 && missing.length < 3)
    out.push(
      `the gains of ${missing.join(' and ')} are not known; its ripple counts only where its demand is logged`,
    );
  if (existing.rateIsRaw)
    out.push(
      'the loops were identified from a gyro logged before the filters; the filters’ lag is added to their margins here',
    );
  const rate = Math.min(...study.spectra.filter((s) => s.sensor === 'gyro').map((s) => s.sampleRateHz));
  if (Number.isFinite(rate) && rate < 0.9 * filterRateHz)
    out.push(
      `the gyro is logged at ${rate.toFixed(0)} Hz and the controller runs at ${filterRateHz.toFixed(0)} Hz: vibration above ${(rate / 2).toFixed(0)} Hz is not seen, or appears folded down`,
    );
  if (gyroSignal(flight, 'x') === null && study.spectra.length > 0) out.push('the x gyro is not logged');
  return out;
}

function foldedNotes(model: RippleModel): string[] {
  if (model.folded.length === 0) return [];
  const places = model.folded.map((line) => line.frequencyHz);
  const truths = model.folded.flatMap((line) => line.trueFrequencyHz ?? []);
  const range = (values: readonly number[]): string => {
    const [low, high] = [Math.min(...values).toFixed(0), Math.max(...values).toFixed(0)];
    return low === high ? `${low} Hz` : `${low} to ${high} Hz`;
  };
  return [
    `lines at ${range(places)} are folded down from beyond half the log’s rate${truths.length === 0 ? '' : `, most likely from ${range(truths)}`}: no notch is placed on them; log the gyro faster`,
  ];
}

interface PlaceContext {
  readonly trade: TradeInput;
  readonly speeds: SpeedSamples | null;
  readonly runs: readonly GyroSpectra[];
  readonly targetLines: readonly (readonly number[])[];
}

function placeNotch(setting: NotchSetting, target: number, context: PlaceContext): PlacedNotch {
  const { trade, speeds } = context;
  const { filterRateHz, lagAtHz, model } = trade;
  const widthOtherDefinitionHz = widthInOtherDefinitionHz(
    { centreHz: setting.centreHz, widthHz: setting.bandwidthHz, depthDb: setting.depthDb },
    filterRateHz,
  );
  const lines = context.targetLines[target]!.map((index) => model.lines[index]!);
  const follows = setting.orders[0] ?? null;
  const noise = noiseOf(
    setting,
    lines.map((line) => [line.lowHz, line.highHz] as const),
    context.runs,
  );
  return {
    ...setting,
    holdsAt: {
      throttle: follows === null ? null : (speeds?.hoverThrottle ?? null),
      rotorHz: follows === null ? null : (speeds?.hoverHz ?? null),
    },
    phaseLagDeg: notchLagDeg(setting, lagAtHz, filterRateHz),
    phaseLagAtHz: lagAtHz,
    noiseBeforeDegS: noise.before,
    noiseAfterDegS: noise.after,
    noiseAxis: noise.axis,
    noiseBandHz: noise.band,
    definition: 'exact-width',
    definitionText:
      'bandwidth is the width between the points at −3 dB, centre/Q exactly (Orfanidis 1996); where Q means sin ω0/(2α) (W3C Audio EQ Cookbook) type the other width',
    q: setting.centreHz / setting.bandwidthHz,
    widthOtherDefinitionHz,
    qOtherDefinition: setting.centreHz / widthOtherDefinitionHz,
    filterRateHz,
    movesAs: movement(setting, speeds),
    warnings: [
      ...(lines.some((line) => line.kind === 'structure')
        ? [
            'this line belongs to the structure, not to the rotors: it moves when parts, payload or a joint change; mend or stiffen what rings first',
          ]
        : []),
      ...(setting.replaces === null
        ? []
        : [
            `takes the place of the notch at ${setting.replaces.centreHz.toFixed(1)} Hz that is there already; do not keep both`,
          ]),
    ],
  };
}

function movement(setting: NotchSetting, speeds: SpeedSamples | null): string {
  const order = setting.orders[0];
  if (order === undefined || speeds === null) return 'does not follow the rotors';
  const exponent = Number(speeds.exponent.toFixed(2));
  const perTen = 100 * (1.1 ** speeds.exponent - 1);
  if (setting.scheduledBy === 'rotor-speed') return `${order} × rotor speed, followed`;
  const law = `∝ throttle^${exponent}: ${perTen.toFixed(1)} % up for 10 % more throttle`;
  if (setting.scheduledBy === 'throttle') return `${law}, followed`;
  return `${order} × rotor speed, ${law}; a fixed notch does not follow, so it fits the hover only`;
}

/** RMS before and after, of the axis with the most, where the notch and its lines are. */
function noiseOf(
  setting: NotchSetting,
  ranges: readonly (readonly [number, number])[],
  runs: readonly GyroSpectra[],
): { before: number; after: number; axis: BodyAxis; band: readonly [number, number] } {
  const low = Math.max(
    1,
    Math.min(setting.centreHz - setting.bandwidthHz / 2, ...ranges.map(([from]) => from - 2)),
  );
  const high = Math.max(setting.centreHz + setting.bandwidthHz / 2, ...ranges.map(([, to]) => to + 2));
  const band = [low, high] as const;
  const levels = runs.map(({ axis, before, after }) => ({
    axis,
    before: bandRms(before, low, high) * DEG,
    after: bandRms(after, low, high) * DEG,
  }));
  const most = levels.sort((a, b) => b.before - a.before)[0];
  return most === undefined ? { before: 0, after: 0, axis: 'x', band } : { ...most, band };
}
