/** Causes over many labelled flights: `pnpm trials:causes FIRST_SEED FLIGHTS_PER_KIND`. */
import { causeCases, formatCauses, LABELLED_KINDS, summariseCauses } from './causes-trial.js';

const [first = 20_000, perKind = 20] = process.argv.slice(2).map(Number);
const all = LABELLED_KINDS.flatMap((kind) => {
  const cases = Array.from({ length: perKind }, (_, i) => causeCases(kind, first + i)).flat();
  console.log(formatCauses(kind, summariseCauses(cases)));
  return cases;
});
console.log(formatCauses('all', summariseCauses(all)));
