/** Several flights, on all cores: each thread works on one at a time. */
import { availableParallelism } from 'node:os';
import { Worker } from 'node:worker_threads';
import type { LeftOut } from '@settle/analysis';
import { EXIT, ReportedFailure } from './failures.js';
import { runHoverJob, type HoverJob, type HoverResult, type StudiedHover } from './hover-job.js';
import type { HoverRequest } from './hover-worker.js';
import type { Progress } from './terminal.js';

export interface StudiedSequence {
  /** In the order of the jobs. */
  readonly hovers: readonly StudiedHover[];
  readonly leftOut: readonly LeftOut[];
}

const ENOUGH = 2;

/**
 * A flight that was read but shows no hover is left out, as long as two others are there to compare.
 *
 * @throws ReportedFailure of the first flight, in the order of the jobs, that could not be read, or be analysed
 */
export async function summariseFlights(
  jobs: readonly HoverJob[],
  wantsPictures: boolean,
  progress: Progress,
): Promise<StudiedSequence> {
  const results = new Array<HoverResult | undefined>(jobs.length).fill(undefined);
  let next = 0;
  let done = 0;
  let failed = false;
  const show = (): void => {
    progress.show(`${String(done)} of ${String(jobs.length)} flights read …`);
  };
  const work = async (run: (job: HoverJob) => Promise<HoverResult>): Promise<void> => {
    while (next < jobs.length && !failed) {
      const index = next++;
      const result = await run(jobs[index]!);
      results[index] = result;
      // What comes after a flight that cannot be read is not worth the wait.
      if (stops(result)) failed = true;
      done++;
      show();
    }
  };
  show();
  const threads = Math.min(jobs.length, availableParallelism());
  if (threads < 2) await work((job) => runHoverJob(job, wantsPictures));
  else {
    const workers = Array.from(
      { length: threads },
      () => new Worker(new URL('./hover-worker.js', import.meta.url)),
    );
    try {
      await Promise.all(
        workers.map((worker) => work((job) => ask(worker, { job, wantsPicture: wantsPictures }))),
      );
    } finally {
      await Promise.all(workers.map((worker) => worker.terminate()));
    }
  }
  return sortOut(jobs, results);
}

const stops = (result: HoverResult): boolean =>
  'failure' in result && result.failure.status !== EXIT.cannotAnalyse;

function sortOut(jobs: readonly HoverJob[], results: readonly (HoverResult | undefined)[]): StudiedSequence {
  const hovers = results.flatMap((result) => (result === undefined || 'failure' in result ? [] : [result]));
  const failures = results.flatMap((result, index) =>
    result !== undefined && 'failure' in result ? [{ result, index }] : [],
  );
  const decisive = failures.find(({ result }) => stops(result)) ?? failures[0];
  if (decisive !== undefined && (stops(decisive.result) || hovers.length < ENOUGH))
    throw new ReportedFailure(decisive.result.failure);
  const latest = results.findLastIndex((result) => result !== undefined && !('failure' in result));
  return {
    hovers,
    leftOut: failures.map(({ result: { failure }, index }) => {
      const { name } = jobs[index]!;
      const line = failure.lines[0] ?? '';
      return {
        name,
        why: line.startsWith(`${name}: `) ? line.slice(name.length + 2) : line,
        isLatest: index > latest,
      };
    }),
  };
}

function ask(worker: Worker, request: HoverRequest): Promise<HoverResult> {
  return new Promise((resolve) => {
    // Only our own listeners are taken off again: without the thread's others the next flight would never be heard of.
    const finish = (result: HoverResult): void => {
      worker.off('message', finish);
      worker.off('error', onError);
      worker.off('exit', onExit);
      resolve(result);
    };
    const lost = (message: string): void => {
      const line = `${request.job.name}: ${message}`;
      finish({ failure: { status: EXIT.defect, lines: [line], attachment: null } });
    };
    const onError = (error: unknown): void => {
      lost(`defect: ${error instanceof Error ? error.message : String(error)}`);
    };
    const onExit = (): void => {
      lost(
        'the thread that read this flight ended, most often for want of memory; compare fewer or shorter logs.',
      );
    };
    worker.on('message', finish);
    worker.on('error', onError);
    worker.on('exit', onExit);
    worker.postMessage(request);
  });
}
