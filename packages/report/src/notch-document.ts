/** Where notches belong, as a report: what turns and rings, the filters, what to do, what could hurt. */

import type { NotchReport, Vibration } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import { otherItem } from './advice-section.js';
import { NO_CHARTS, type Charts } from './charts/assemble-charts.js';
import {
  type Block,
  type ReportDocument,
  type Section,
  action,
  illustrated,
  item,
  list,
  sentence,
} from './document.js';
import { formatSignificant, formatTime } from './numbers.js';
import { phaseSentence } from './phases.js';
import { vibrationSection } from './vibration-section.js';
import { LINE_WORDS, SEVERITY_EMPHASIS, asSentence, capitalise } from './words.js';

/** @param charts pictures of the same flight; none by default */
export function assembleNotchDocument(report: NotchReport, charts: Charts = NO_CHARTS): ReportDocument {
  const sections: Section[] = [verdictOf(report)];
  if (!isUnavailable(report.vibration))
    sections.push(illustrated(vibrationSection(report.vibration, report.filters), charts.vibration));
  if (report.findings.length > 0)
    sections.push({
      title: 'Findings',
      blocks: [
        list(
          report.findings.map((finding) =>
            item(
              `${capitalise(finding.severity)}: ${asSentence(finding.summary)}`,
              finding.evidence.map(asSentence),
              SEVERITY_EMPHASIS[finding.severity],
            ),
          ),
        ),
      ],
    });
  if (report.advice.length > 0)
    sections.push({ title: 'What to do', role: 'action', blocks: [list(report.advice.map(otherItem))] });
  sections.push({
    title: 'Cautions',
    role: 'caution',
    blocks: [list(report.cautions.map((text) => item(text)))],
  });
  return {
    title: `Vibration and notches: ${report.flight.name}`,
    subtitle: `${formatTime(report.flight.durationS)} s logged`,
    sections,
  };
}

/** The line of the gyro that is strongest, in words; null where none stands out. */
function strongestLine({ lines }: Vibration): string | null {
  const own = lines.filter(({ sensor }) => sensor === 'gyro');
  if (own.length === 0) return null;
  const top = own.reduce((a, b) => (b.rms > a.rms ? b : a));
  return `Strongest on the gyro: ${formatSignificant(top.rms)} deg/s RMS at ${formatSignificant(top.frequencyHz)} Hz about ${top.axis} (${LINE_WORDS[top.kind]}).`;
}

function verdictOf(report: NotchReport): Section {
  const { vibration, filters } = report;
  const blocks: Block[] = report.findings
    .filter(({ severity }) => severity === 'danger')
    .map(({ summary }) =>
      sentence(`Danger: ${asSentence(summary)} See settle diagnose before anything here.`, 'danger'),
    );
  if (isUnavailable(vibration)) blocks.push(sentence(asSentence(vibration.unavailable), 'fault'));
  else if (isUnavailable(filters)) blocks.push(sentence(asSentence(filters.unavailable), 'fault'));
  else if (filters.undecided !== null) {
    const top = strongestLine(vibration);
    if (top !== null) blocks.push(sentence(top, 'strong'));
    blocks.push(sentence(asSentence(filters.undecided), 'fault'));
  } else if (!filters.needed)
    blocks.push(
      report.findings.some(({ id, severity }) => id === 'aliased-vibration' && severity === 'fault')
        ? sentence(
            'No filter is needed for what the log shows, but some of it is folded down from faster lines, which this log cannot place: log the gyro faster, as the findings say, and ask again.',
            'fault',
          )
        : sentence('No filter is needed for what vibrates.', 'good'),
    );
  else if (!report.advice.some(({ kind }) => kind === 'filter'))
    blocks.push(sentence(filters.because.map(asSentence).join(' '), 'fault'));
  // What shakes is mended before it is filtered away.
  for (const step of report.advice.filter(({ kind }) => kind === 'do-not-fly' || kind === 'mechanical'))
    blocks.push(action(asSentence(step.text)));
  const steps = report.advice.filter(({ kind }) => kind === 'filter');
  const untold = isUnavailable(filters)
    ? undefined
    : filters.assumptions.find((text) => text.startsWith('no filters of the gyro are told'));
  if (steps.length > 0 && untold !== undefined)
    blocks.push(sentence(`Only if no filter of the gyro is flown yet: ${untold}.`, 'fault'));
  for (const step of steps) blocks.push(action(asSentence(step.text)));
  blocks.push(sentence(phaseSentence(report.phases), 'quiet'));
  return { title: 'Verdict', role: 'verdict', blocks };
}
