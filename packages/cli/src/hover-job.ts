/** One flight of several: what a worker is told, and what it hands back. */
import type { HoverNotes, HoverPicture, HoverSummary } from '@settle/analysis';
import type { FlownConfiguration, GainsFile } from '@settle/parser';
import { describeFailure, type FailureReport } from './failures.js';
import { problemNotes, readFlightFrom } from './flight-reading.js';
import type { OptionValues } from './options.js';
import { loadAnalysis } from './stages.js';
import { studyOptions } from './study-input.js';

/** Plain data, fit for a worker. */
export interface HoverJob {
  readonly name: string;
  /** Files of the flight, or its directory. */
  readonly operands: readonly string[];
  readonly options: Pick<OptionValues, 'map' | 'rate' | 'segment' | 'from' | 'to'>;
  /** null: nothing tells them. */
  readonly gains: GainsFile | null;
  /** In place of what the gains file says, as a record tells it; null: as the gains file says. */
  readonly configuration: FlownConfiguration | null;
  /** What a record tells besides; null without one. */
  readonly notes: HoverNotes | null;
}

export interface StudiedHover {
  readonly summary: HoverSummary;
  readonly picture: HoverPicture | null;
  readonly notes: readonly string[];
}

export type HoverResult = StudiedHover | { readonly failure: FailureReport };

/**
 * Reads, studies and summarises one flight; nothing of the flight itself is kept.
 *
 * @param wantsPicture whether what is drawn of it is wanted too
 */
export async function runHoverJob(job: HoverJob, wantsPicture: boolean): Promise<HoverResult> {
  const { name, options, gains, configuration } = job;
  try {
    const silent = { show: () => undefined, clear: () => undefined };
    const { flight, notes } = await readFlightFrom(job.operands, options, silent, name);
    const analysis = await loadAnalysis();
    const study = analysis.studyFlight(flight, studyOptions(options, gains));
    const summary = analysis.summariseHover(study, analysis.describeStudy(study), {
      name,
      gains,
      ...(configuration === null ? {} : { configuration }),
      ...(job.notes === null ? {} : { notes: job.notes }),
    });
    const problems = await problemNotes(flight.problems);
    return {
      summary,
      picture: wantsPicture ? analysis.hoverPicture(study, name) : null,
      notes: [...notes, ...problems].map((note) => `${name}: ${note}`),
    };
  } catch (error) {
    const failure = describeFailure(error);
    return { failure: { ...failure, lines: failure.lines.map((line) => `${name}: ${line}`) } };
  }
}
