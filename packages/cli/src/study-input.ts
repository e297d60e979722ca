/** From the command line to one flight studied, with its pictures where anything shows them. */

import type { DiagnoseOptions, FlightStudy } from '@settle/analysis';
import type { GainsFile } from '@settle/parser';
import type { Charts } from '@settle/report';
import type { FlightInput } from './flight-input.js';
import { problemNotes, readFlightFrom } from './flight-reading.js';
import { gainsNotes, readGains } from './gains-input.js';
import type { OptionValues } from './options.js';
import { checkReportFiles, wantsPictures } from './report-files.js';
import { loadAnalysis, loadReport } from './stages.js';
import { describeTerminal, type Progress } from './terminal.js';

/** @param gains null: not told */
export function studyOptions(
  { from, to }: Pick<OptionValues, 'from' | 'to'>,
  gains: GainsFile | null,
): DiagnoseOptions {
  return {
    ...(from === undefined ? {} : { fromS: from }),
    ...(to === undefined ? {} : { toS: to }),
    ...(gains === null ? {} : { gains }),
  };
}

export interface StudiedFlight {
  readonly study: FlightStudy;
  readonly charts: Charts;
  readonly gains: GainsFile | null;
  readonly input: FlightInput;
  /** What the person should know of log and gains, one line each. */
  readonly notes: readonly string[];
}

/**
 * @param doing what is shown while it is studied
 * @param more files that the command writes besides its report
 * @throws Failure, or an error of parser or analysis, before anything is written
 */
export async function studyFromOptions(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
  doing: string,
  more: readonly (string | undefined)[] = [],
): Promise<StudiedFlight> {
  const gains = await readGains(options);
  const { flight, input, notes } = await readFlightFrom(operands, options, progress);
  await checkReportFiles(options, input, more);
  progress.show(doing);
  const [analysis, report] = await Promise.all([loadAnalysis(), loadReport()]);
  const study = analysis.studyFlight(flight, studyOptions(options, gains));
  return {
    study,
    charts: wantsPictures(options, describeTerminal(process.stdout, process.env))
      ? report.assembleCharts(analysis.pictureData(study))
      : report.NO_CHARTS,
    gains,
    input,
    notes: [...notes, ...(await problemNotes(flight.problems)), ...(gains === null ? [] : gainsNotes(gains))],
  };
}
