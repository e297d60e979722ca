/** A thread that works on one flight at a time, so that memory holds one flight per thread. */
import { parentPort } from 'node:worker_threads';
import { runHoverJob, type HoverJob } from './hover-job.js';

export interface HoverRequest {
  readonly job: HoverJob;
  readonly wantsPicture: boolean;
}

parentPort?.on('message', ({ job, wantsPicture }: HoverRequest) => {
  void runHoverJob(job, wantsPicture).then((result) => {
    parentPort?.postMessage(result);
  });
});
