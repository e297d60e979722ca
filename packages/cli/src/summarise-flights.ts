/** Several flights, on all cores: each thread works on one at a time. */
import { availableParallelism } from 'node:os';
import { Worker } from 'node:worker_threads';
import { EXIT, ReportedFailure } from './failures.js';
import { runHoverJob, type HoverJob, type HoverResult, type StudiedHover } from './hover-job.js';
import type { HoverRequest } from './hover-worker.js';
import type { Progress } from './terminal.js';

/**
 * @returns in the order of the jobs
 * @throws ReportedFailure of the first flight, in the order of the jobs, that could not be read or analysed
 */
export async function summariseFlights(
  jobs: readonly HoverJob[],
  wantsPictures: boolean,
  progress: Progress,
): Promise<StudiedHover[]> {
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
      if ('failure' in result) failed = true;
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
  return results.flatMap((result) => {
    if (result === undefined) return [];
    if ('failure' in result) throw new ReportedFailure(result.failure);
    return [result];
  });
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
