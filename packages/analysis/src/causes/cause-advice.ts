/** What to do about the causes that are no gains: connections, weight, wind, vibration, and how to fly the next hover. */
import type { Flight, Interval } from '@settle/parser';
import type { Advice, Finding } from '../diagnosis.js';
import { indexAtOrAfter } from '../signals.js';
import { shakenAxes } from './rotor-vibration.js';

/** Said with everything that brings hands or people near props. */
const RULES = 'Local rules and licensed practice come first.';

const about = (findings: readonly Finding[], id: string): Finding[] => findings.filter((f) => f.id === id);

/** While demands turn the body wrongly no gain helps, and none may be touched. */
export function forbidsGains(findings: readonly Finding[]): boolean {
  return about(findings, 'demand-sign-wrong').length > 0;
}

export function adviseSigns(findings: readonly Finding[]): Advice[] {
  const wrong = about(findings, 'demand-sign-wrong');
  if (wrong.length === 0) return [];
  return [
    {
      step: 1,
      kind: 'do-not-fly',
      basis: 'rule-of-thumb',
      because: wrong.map((f) => f.summary),
      watchFor:
        'a motor that answers another motor’s command or turns the wrong way; a motor that starts by itself: keep the props off and hands clear until every check is done',
      text: `Do not fly, and change no gains: no gain mends a demand that turns the body the wrong way. With the props off, check one by one: that each motor command turns the motor at its place, that each motor turns the way the mixer takes it to, that each prop is the one for that direction, and that tilting the aircraft by hand right side down and nose up shows positive roll and pitch in the log. Then check the balance. ${RULES}`,
    },
  ];
}

export function adviseCauses(flight: Flight, hover: Interval, findings: readonly Finding[]): Advice[] {
  return [
    ...height(findings),
    ...gusts(findings),
    ...trims(findings),
    ...vibration(findings),
    ...firstHoverMode(flight, hover, findings),
  ];
}

function height(findings: readonly Finding[]): Advice[] {
  const lost = about(findings, 'height-control-lost').filter((f) => f.severity !== 'note');
  if (lost.length === 0) return [];
  return [
    {
      step: 1,
      kind: 'flying',
      basis: 'rule-of-thumb',
      because: lost.map((f) => f.summary),
      watchFor:
        'an aircraft that climbs or hangs while the throttle is closed: it falls when the motors are cut, so keep everybody far away and never stand below',
      text: `Cure the swing that drives the motors to their stops before the next hover; only then hover again, low, over soft ground, with a way to cut the motors ready. If nothing swings, see whether it is too light for its rotors or its lowest command too high. ${RULES}`,
    },
  ];
}

/** Without the sticks, gusts are only one of two things. */
const SURE_OF_GUSTS = 0.7;

function gusts(findings: readonly Finding[]): Advice[] {
  const gusty = about(findings, 'gust-response');
  if (gusty.length === 0) return [];
  return [
    {
      step: 1,
      kind: 'flying',
      basis: 'rule-of-thumb',
      because: gusty.map((f) => f.summary),
      watchFor: 'gusts that need large demands: land before the authority runs out',
      text: gusty.some(({ confidence }) => confidence < SURE_OF_GUSTS)
        ? 'Log the sticks, and hover without moving them, before judging or changing gains: what moves it here is the air or a stick, and this log cannot say which.'
        : 'Wait for less wind before judging or changing gains: what moves it here is the air, and a gain chosen against gusts is easily too high on a calm day.',
    },
  ];
}

function trims(findings: readonly Finding[]): Advice[] {
  const offset = about(findings, 'trim-offset');
  if (offset.length === 0) return [];
  const level = offset.filter((f) => f.axis !== 'yaw');
  return [
    {
      step: 1,
      kind: 'mechanical',
      basis: 'rule-of-thumb',
      because: offset.map((f) => f.summary),
      watchFor:
        'a balance that suits the hover but not forward flight: a centre of gravity outside its limits can make the aircraft uncontrollable',
      text: `With the battery unplugged, check motors, props and their mounts for what differs${offset.some((f) => f.axis === 'yaw') ? ', and that the rotors stand upright' : ''}${level.length > 0 ? '; then weigh and balance the aircraft. Before moving ballast or battery, check the centre-of-gravity limits of forward flight: they come before the hover’s convenience' : ''}. ${RULES}`,
    },
  ];
}

function vibration(findings: readonly Finding[]): Advice[] {
  const axes = shakenAxes(findings);
  if (axes.length === 0) return [];
  return [
    {
      step: 1,
      kind: 'mechanical',
      basis: 'rule-of-thumb',
      because: about(findings, 'rotor-vibration').map((f) => f.summary),
      watchFor: 'chipped props, bent shafts, loose motors, hot motors after a hover',
      text: `With the battery unplugged and the props off, balance or replace the props, check shafts and mounts, and see that the sensor board is held softly and nothing touches it. Where it lasts, raise no derivative gain on ${axes.join(' and ')} without the filters advised with it.`,
    },
  ];
}

/** Findings after which the next hover is flown as if it were the first. */
const NOT_SETTLED = new Set<Finding['severity']>(['danger', 'fault']);
/** Words of a mode in which the aircraft holds its place by itself. */
const HOLDS_PLACE = /position|place|hold|automatic/i;

function firstHoverMode(flight: Flight, hover: Interval, findings: readonly Finding[]): Advice[] {
  const unsettled = findings.filter((f) => NOT_SETTLED.has(f.severity) && CONCERNS_CONTROL.has(f.id));
  const swings = findings.some((f) => f.id === 'position-loop-swing' || f.id === 'outer-loop-swing');
  if (unsettled.length === 0) return [];
  const mode = modeOf(flight, hover);
  const holds = swings || (mode !== null && HOLDS_PLACE.test(mode));
  if (mode !== null && !holds) return [];
  return [
    {
      step: 1,
      kind: 'flying',
      basis: 'rule-of-thumb',
      because: [
        mode === null
          ? 'the log does not say in which mode this hover was flown'
          : `this hover was flown in “${mode}”`,
        'a loop that holds the place moves the references by itself, and hides or adds swings (common practice, no source)',
      ],
      watchFor:
        'drift towards people or obstacles, which nothing corrects in such a mode: choose room and calm air',
      text: 'Fly the next hover in a self-levelling mode with manual throttle rather than with position held automatically (common practice, no source).',
    },
  ];
}

const CONCERNS_CONTROL = new Set([
  'oscillation',
  'rate-loop-too-tight',
  'derivative-too-strong',
  'integral-too-strong',
  'attitude-loop-too-tight',
  'position-loop-swing',
  'outer-loop-swing',
  'loop-too-loose',
  'height-control-lost',
  'upset',
]);

/** The mode that held for most of the hover; null where none is logged. */
function modeOf(flight: Flight, hover: Interval): string | null {
  const signal = flight.signals.get('mode');
  if (signal?.labels === undefined) return null;
  const { timeS } = signal.clock;
  const counts = new Map<number, number>();
  for (let i = indexAtOrAfter(timeS, hover.startS); i < timeS.length && timeS[i]! < hover.endS; i++)
    counts.set(signal.values[i]!, (counts.get(signal.values[i]!) ?? 0) + 1);
  const most = [...counts].sort((a, b) => b[1] - a[1])[0];
  return most === undefined ? null : (signal.labels[most[0]] ?? null);
}
