/** One section per axis: what oscillates, with units and uncertainty, then how well the axis follows and why. */

import type { AxisName } from '@settle/parser';
import type { AxisDiagnosis, Diagnosis, Margins, Oscillation } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import {
  type Block,
  type Section,
  type Sentence,
  type Table,
  item,
  list,
  quantity,
  sentence,
  table,
  words,
} from './document.js';
import {
  NO_VALUE,
  formatEstimate,
  formatSignificant,
  formatSigned,
  formatSureness,
  formatTime,
} from './numbers.js';
import { AXIS_ORDER, ORIGIN_WORDS, REGIME_WORDS, asSentence, capitalise } from './words.js';
import { frequencyText, oscillationsByUrgency } from './verdict.js';

const OSCILLATION_COLUMNS = [
  quantity('frequency', 'Hz'),
  quantity('body rate', 'deg/s'),
  quantity('angle', 'deg'),
  quantity('seen', 's'),
  words('behaviour'),
  quantity('growth', '1/s'),
  quantity('damping', 'ratio'),
  words('source'),
] as const;

/** Without a named source there is nothing to be sure of. */
function sourceText({ origin, confidence }: Oscillation): string {
  return origin === 'unknown'
    ? ORIGIN_WORDS.unknown
    : `${ORIGIN_WORDS[origin]}, ${formatSureness(confidence)} sure`;
}

/** Clocks of loggers run true to about this share (common practice, no source): a steadier wobble is not known any better. */
const CLOCK = 1e-4;
/** Finer than this nothing follows from growth, 1/s, or damping. */
const LEAST_GROWTH = 0.001;
const LEAST_DAMPING = 0.0001;

function atLeast(std: number | null, least: number): number | null {
  return std === null ? null : Math.max(std, least);
}

function oscillationTable(oscillations: readonly Oscillation[]): Table {
  return table(
    OSCILLATION_COLUMNS,
    oscillations.map((oscillation) => [
      formatEstimate(
        oscillation.frequencyHz,
        atLeast(oscillation.frequencyStdHz, CLOCK * oscillation.frequencyHz),
      ),
      formatEstimate(oscillation.rateAmplitudeDegS, oscillation.rateAmplitudeStdDegS),
      formatSignificant(oscillation.attitudeAmplitudeDeg),
      `${formatTime(oscillation.startS)}–${formatTime(oscillation.endS)}`,
      REGIME_WORDS[oscillation.regime],
      formatSigned(oscillation.envelopeGrowthPerS, atLeast(oscillation.envelopeGrowthStdPerS, LEAST_GROWTH)),
      formatEstimate(oscillation.dampingRatio, atLeast(oscillation.dampingRatioStd, LEAST_DAMPING)),
      sourceText(oscillation),
    ]),
  );
}

/** Required of both loops: the headline of MIL-F-9490D as quoted in secondary sources. */
const REQUIRED_MARGINS = '6 dB and 45 deg';

function marginSentence(loop: string, margins: Margins): string {
  const { gainMarginDb, gainMarginStdDb, phaseMarginDeg, phaseMarginStdDeg } = margins;
  const parts: string[] = [];
  if (gainMarginDb !== null) {
    parts.push(
      gainMarginDb < 0
        ? `its gain is too high by ${formatEstimate(-gainMarginDb, gainMarginStdDb)} dB`
        : `gain margin ${formatEstimate(gainMarginDb, gainMarginStdDb)} dB`,
    );
  }
  if (phaseMarginDeg !== null) {
    const at = margins.crossoverHz === null ? '' : ` at ${formatSignificant(margins.crossoverHz)} Hz`;
    parts.push(`phase margin ${formatEstimate(phaseMarginDeg, phaseMarginStdDeg)} deg${at}`);
  }
  if (margins.gainReductionMarginDb !== null) {
    const { gainReductionMarginDb: fall } = margins;
    parts.push(
      fall < 0
        ? `its gain is too low by ${formatSignificant(-fall, 2)} dB`
        : `the gain may fall by ${formatSignificant(fall, 2)} dB`,
    );
  }
  if (margins.phaseCrossoverHz !== null) {
    const hz = formatSignificant(margins.phaseCrossoverHz);
    parts.push(
      margins.stable ? `with more gain it would swing at ${hz} Hz` : `at its limit it swings at ${hz} Hz`,
    );
  }
  if (margins.sensitivityPeak !== null) {
    parts.push(`sensitivity peak ${formatSignificant(margins.sensitivityPeak)}`);
  }
  const verdict = margins.stable ? 'stable' : 'not stable';
  return `${loop} loop: ${[verdict, ...parts].join(', ')}.`;
}

/** Both loops, then once what is asked of them and where the numbers come from. */
function marginSentences({ rate, attitude }: AxisDiagnosis['margins']): Sentence[] {
  const known = [rate, attitude].filter((loop): loop is Margins => !isUnavailable(loop));
  if (known.length === 0) return [];
  const out: Sentence[] = [];
  if (!isUnavailable(rate)) out.push(sentence(marginSentence('Rate', rate)));
  if (!isUnavailable(attitude)) {
    // Numbers of a loop around one that is unstable are no help to anybody: the inner one is mended first.
    const isHopeless = !attitude.stable && !isUnavailable(rate) && !rate.stable;
    out.push(
      sentence(
        isHopeless
          ? 'Attitude loop: not stable either; the rate loop inside it comes first.'
          : marginSentence('Attitude', attitude),
      ),
    );
  }
  const sources = [...new Set(known.map(({ from }) => from))].join('; and ');
  out.push(sentence(`Margins required: at least ${REQUIRED_MARGINS}. Worked out from: ${sources}.`, 'quiet'));
  return out;
}

/** Whatever else is known of the axis; what is not stands in the section on limits, once for all axes. */
function knownOf(diagnosis: AxisDiagnosis): Block[] {
  const sentences: string[] = [];
  const after: string[] = [];
  const { tracking, response, margins, plant } = diagnosis;
  if (!isUnavailable(tracking)) {
    const errors = [
      tracking.rateErrorRmsDegS === null
        ? null
        : `${formatSignificant(tracking.rateErrorRmsDegS)} deg/s of body rate`,
      tracking.attitudeErrorRmsDeg === null
        ? null
        : `${formatSignificant(tracking.attitudeErrorRmsDeg)} deg of angle`,
    ].filter((text) => text !== null);
    if (errors.length > 0) sentences.push(`Reference minus measured, RMS: ${errors.join(', ')}.`);
  }
  if (!isUnavailable(response)) {
    const [lowHz, highHz] = response.coherentBandHz;
    const rise =
      response.riseTimeS === null ? '' : `, rise time ${formatSignificant(response.riseTimeS, 2)} s`;
    const over =
      response.overshootPct === null ? '' : `, overshoot ${formatSignificant(response.overshootPct, 2)} %`;
    const [low, high] = [formatSignificant(lowHz, 2), formatSignificant(highHz, 2)];
    const band = low === high ? `at ${low} Hz only` : `from ${low} to ${high} Hz`;
    sentences.push(
      `Response to the rate reference: bandwidth ${formatSignificant(response.bandwidthHz)} Hz, delay ` +
        `${formatSignificant(response.delayS * 1000, 2)} ms${rise}${over}; identified ${band}.`,
    );
  }
  if (!isUnavailable(plant)) {
    after.push(
      `Full demand turns the aircraft with ${formatEstimate(plant.effectiveness, plant.effectivenessStd)} rad/s²; the rotors ` +
        `lag ${formatEstimate(plant.lagS * 1000, plant.lagStdS * 1000)} ms, and everything else delays by ${formatEstimate(plant.delayS * 1000, plant.delayStdS * 1000)} ms.`,
    );
  }
  return [
    ...sentences.map((text) => sentence(text)),
    ...marginSentences(margins),
    ...after.map((text) => sentence(text)),
  ];
}

function axisSection(axis: AxisName, diagnosis: AxisDiagnosis): Section {
  const first: Block =
    diagnosis.notSearched !== null
      ? sentence(`Not searched: ${diagnosis.notSearched}.`)
      : diagnosis.oscillations.length === 0
        ? sentence('No steady oscillation stands out.')
        : oscillationTable(diagnosis.oscillations);
  return { title: capitalise(axis), blocks: [first, ...knownOf(diagnosis)] };
}

export function assembleAxisSections(diagnosis: Diagnosis): Section[] {
  return AXIS_ORDER.map((axis) => axisSection(axis, diagnosis.axes[axis]));
}

/** Why each oscillation is believed and what is known about where it comes from; null when there is nothing to say. */
export function assembleEvidence(diagnosis: Diagnosis): Section | null {
  const items = oscillationsByUrgency(diagnosis)
    .filter(({ oscillation }) => oscillation.evidence.length > 0)
    .map(({ axis, oscillation }) =>
      item(
        `${capitalise(axis)}, ${frequencyText(oscillation)}`,
        oscillation.evidence.map(asSentence),
        'strong',
      ),
    );
  return items.length === 0 ? null : { title: 'Evidence', blocks: [list(items)] };
}

/** How the numbers of the tables are meant. Null when no table was printed. */
export function assembleReadingGuide(diagnosis: Diagnosis): Section | null {
  if (oscillationsByUrgency(diagnosis).length === 0) return null;
  return {
    title: 'How to read the numbers',
    blocks: [
      sentence(
        'Times count from the first sample of the log. "±" is one standard deviation: the truth lies within it about two times in three. ' +
          'Amplitudes are from the middle to the peak (√2 times the RMS within 20 % of the frequency, over the time it was "seen"). ' +
          'Growth is the slope of the logarithm of the amplitude: positive grows, negative dies out; on a driven motion it follows whatever drives it and says nothing about damping. ' +
          `${NO_VALUE}: this log cannot show it.`,
        'quiet',
      ),
    ],
  };
}
