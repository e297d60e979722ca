import { describeClock } from './clock.js';
import { compareChannels, quantityOf } from './channel-names.js';
import { countClipped } from './clipping.js';
import { measuredChannels } from './conversions.js';
import type { Decided, DecidedSignal } from './conversions.js';
import type { ChannelDecision, ChannelName, Clock, Flight, LogFile, Signal } from './flight.js';
import { unwrapAngles } from './kinematics.js';
import { columnName } from './log-data.js';
import type { LogData } from './log-data.js';
import { LogError } from './log-error.js';
import type { ProblemList } from './problems.js';
import type { TimedTrack } from './segments.js';

const TURN = 2 * Math.PI;

/**
 * Puts decided signals of one or several files on one time axis.
 *
 * @throws LogError `clocks-apart` if two files share no time
 */
export function assembleFlight(
  name: string,
  logs: readonly LogData[],
  decided: Decided,
  problems: ProblemList,
): Flight {
  const used = new Set(decided.signals.map(({ signal }) => signal.track));
  const spans = checkOverlap(logs, used);
  const originS = Math.min(...spans.map((span) => span.startS));
  const clocks = buildClocks(logs, used, originS);
  const signals = new Map<ChannelName, Signal>();
  const errors: DecidedSignal[] = [];
  for (const each of [...decided.signals].sort((a, b) =>
    compareChannels(a.signal.channel, b.signal.channel),
  )) {
    if (each.signal.error) errors.push(each);
    else signals.set(each.signal.channel, buildSignal(each, clocks.get(each.signal.track)!, problems));
  }
  for (const each of errors) deriveReference(each, clocks, signals, problems);
  alignReferences(signals);
  const ordered = new Map([...signals].sort(([a], [b]) => compareChannels(a, b)));
  return {
    name,
    files: logs.map((log) => describeFile(log, ordered)),
    signals: ordered,
    frame: decided.frame,
    problems: problems.list(),
    durationS: Math.max(...spans.map((span) => span.endS)) - originS,
  };
}

interface Span {
  readonly log: LogData;
  readonly startS: number;
  readonly endS: number;
}

/** Clocks of one flight overlap: each file must share time with the others. */
function checkOverlap(logs: readonly LogData[], used: ReadonlySet<TimedTrack>): readonly Span[] {
  const base = logs[0]!.clock.baseS;
  const spans = logs.flatMap((log): Span[] => {
    const tracks = log.tracks.filter((track) => used.has(track));
    if (tracks.length === 0) return [];
    const shift = log.clock.baseS - base;
    const startS = Math.min(...tracks.map((track) => track.timeS[0]!)) + shift;
    return [{ log, startS, endS: Math.max(...tracks.map((track) => track.timeS.at(-1)!)) + shift }];
  });
  const sorted = [...spans].sort((a, b) => a.startS - b.startS);
  let reached = sorted[0]!;
  for (const span of sorted.slice(1)) {
    if (span.startS > reached.endS)
      throw new LogError(
        'clocks-apart',
        `its clock runs from ${span.startS.toPrecision(6)} s to ${span.endS.toPrecision(6)} s, after that of ${reached.log.name} has ended at ${reached.endS.toPrecision(6)} s`,
        'pass files of one flight whose clocks count from the same moment, or state each unit with --map',
        { file: span.log.name, column: span.log.clock.column?.label ?? null },
      );
    if (span.endS > reached.endS) reached = span;
  }
  return spans;
}

/** One clock per distinct set of times, so that signals sampled together share the object. */
function buildClocks(
  logs: readonly LogData[],
  used: ReadonlySet<TimedTrack>,
  originS: number,
): ReadonlyMap<TimedTrack, Clock> {
  const clocks = new Map<TimedTrack, Clock>();
  const base = logs[0]!.clock.baseS;
  for (const log of logs) {
    const shift = log.clock.baseS - base - originS;
    for (const track of log.tracks) {
      if (!used.has(track)) continue;
      const same = log.tracks.find((other) => clocks.has(other) && isSameTime(other.timeS, track.timeS));
      const timeS = same ? null : strictly(track.timeS.map((time) => time + shift));
      clocks.set(track, timeS ? describeClock(timeS) : clocks.get(same!)!);
    }
  }
  return clocks;
}

function isSameTime(a: Float64Array, b: Float64Array): boolean {
  return a.length === b.length && a.every((time, index) => time === b[index]);
}

/** Shifting huge clock values can round two neighbouring times together; the smallest step keeps them apart. */
function strictly(timeS: Float64Array): Float64Array {
  for (let i = 1; i < timeS.length; i++)
    if (!(timeS[i]! > timeS[i - 1]!))
      timeS[i] = timeS[i - 1]! + Math.max(1e-12, Math.abs(timeS[i - 1]!) * 2 ** -52);
  return timeS;
}

function buildSignal(each: DecidedSignal, clock: Clock, problems: ProblemList): Signal {
  const { signal, conversion } = each;
  const { channel, values, log } = signal;
  if (channel === 'mode') return buildMode(each, clock);
  const clipped = countClipped(channel, values, conversion.scale);
  let nonFinite = 0;
  let [low, high] = [Infinity, -Infinity];
  const { scale, offset } = conversion;
  // A switched-off output logged as pulse width 0 is a command of nothing, not of less than nothing.
  const off = conversion.unit === 'us' && quantityOf(channel) === 'share';
  for (let i = 0; i < values.length; i++) {
    const logged = values[i]!;
    if (logged - logged === 0) {
      const value = logged * scale + offset;
      values[i] = off && logged === 0 ? 0 : value;
      if (logged < low) low = logged;
      if (logged > high) high = logged;
    } else {
      values[i] = NaN;
      nonFinite++;
    }
  }
  if (low === high && values.length > 1)
    problems.add(log.name, 'constant', `${channel} is ${String(low)} throughout`, {
      column: columnName(signal.column, signal.track),
    });
  if (quantityOf(channel) === 'attitude' && !channel.includes('pitch')) unwrapAngles(values, TURN);
  return { channel, clock, values, decision: decisionOf(each, clipped, nonFinite) };
}

function decisionOf(each: DecidedSignal, clipped: number, nonFinite: number): ChannelDecision {
  const { signal, conversion, decidedBy } = each;
  return {
    channel: signal.channel,
    file: signal.log.name,
    column: signal.column.label,
    ...(signal.track.track.kind === null ? {} : { kind: signal.track.track.kind }),
    unit: conversion.unit,
    scale: conversion.scale,
    offset: conversion.offset,
    decidedBy,
    clipped,
    nonFinite,
  };
}

function buildMode(each: DecidedSignal, clock: Clock): Signal {
  const { column, track } = each.signal;
  const labels = new Map<string, number>();
  let nonFinite = 0;
  const values = Float64Array.from(track.rows, (row) => {
    const code = column.codes?.[row] ?? 0;
    const number = column.values[row]!;
    const text = code > 0 ? column.texts[code - 1]! : number - number === 0 ? String(number) : null;
    if (text === null) {
      nonFinite++;
      return NaN;
    }
    if (!labels.has(text)) labels.set(text, labels.size);
    return labels.get(text)!;
  });
  return {
    channel: 'mode',
    clock,
    values,
    decision: { ...decisionOf(each, 0, nonFinite), scale: 1, offset: 0 },
    labels: [...labels.keys()],
  };
}

/** Error is reference minus measured: with the measured value it gives the reference, if that is not logged itself. */
function deriveReference(
  each: DecidedSignal,
  clocks: ReadonlyMap<TimedTrack, Clock>,
  signals: Map<ChannelName, Signal>,
  problems: ProblemList,
): void {
  const { channel, track, log, column } = each.signal;
  if (signals.has(channel)) return;
  const measured = measuredChannels(channel)
    .map((name) => signals.get(name))
    .find((signal) => signal !== undefined);
  const clock = clocks.get(track)!;
  if (measured?.clock !== clock) {
    problems.add(log.name, `lonely error ${channel}`, measured ? 'an error logged at other times than its measured value is not used' : 'an error without its measured value is not used', { column: column.label }); // prettier-ignore
    return;
  }
  const error = buildSignal(each, clock, problems);
  const values = error.values.map((value, index) => value + measured.values[index]!);
  const decidedBy = [...error.decision.decidedBy, `reference = error + "${measured.decision.column}"`];
  signals.set(channel, { ...error, values, decision: { ...error.decision, decidedBy } });
}

/** Unwrapping may leave reference and measured whole turns apart; the reference follows. */
function alignReferences(signals: ReadonlyMap<ChannelName, Signal>): void {
  for (const axis of ['roll', 'yaw'] as const) {
    const reference = signals.get(`attitude.${axis}.reference`);
    const measured = signals.get(`attitude.${axis}.measured`);
    if (!reference || !measured) continue;
    const turns = Math.round((median(measured.values) - median(reference.values)) / TURN);
    if (turns !== 0)
      reference.values.forEach((value, index) => (reference.values[index] = value + turns * TURN));
  }
}

function median(values: Float64Array): number {
  const finite = values.filter((value) => value - value === 0).sort();
  return finite[finite.length >> 1] ?? 0;
}

function describeFile(log: LogData, signals: ReadonlyMap<ChannelName, Signal>): LogFile {
  const { dialect, clock, table } = log;
  const used = new Set(
    [...signals.values()].filter((s) => s.decision.file === log.name).map((s) => s.decision.column),
  );
  const unused = table.columns.filter((column) => {
    if (column === clock.column || column === log.kindColumn) return false;
    if (column.header === '' && column.finite === 0 && column.textCells === 0) return false;
    return !used.has(column.label);
  });
  return {
    name: log.name,
    bytes: log.bytes,
    encoding: log.encoding,
    delimiter: dialect.delimiter,
    decimal: dialect.decimal,
    headerLine: dialect.headerLine,
    unitsLine: dialect.unitsLine,
    rows: table.rows,
    unusedColumns: unused.map((column) => column.label),
    clock: { column: clock.column?.label ?? null, unit: clock.unit.name, decidedBy: clock.decidedBy },
    segments: log.segments,
  };
}
