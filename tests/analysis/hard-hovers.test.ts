/** Development flights whose rotors were once misread, each for a reason of its own; the truth is the simulation’s. */
import { expect, test } from 'vitest';
import { flyVibration, OFF_CENTRE, toFlight } from '@settle/simulator';
import { isUnavailable } from '../../packages/analysis/src/unavailable.js';
import { toolStudy } from '../trials/vibration-tool.js';

test.for([
  ['calm, rotors that turn a quarter apart, each with three multiples', 9198, OFF_CENTRE],
  ['calm, with a tone of the mains above what two rotors and their blades show', 9112, OFF_CENTRE],
] as const)('%s (seed %i)', ([, seed, trims]) => {
  const { flight, sim } = flyVibration(seed, trims);
  expect(flight.speedChannel).toBe(false);
  const study = toolStudy(toFlight(sim));
  if (isUnavailable(study)) throw new Error(study.unavailable);
  if (isUnavailable(study.rotor)) throw new Error(study.rotor.unavailable);
  const startS = Math.min(...sim.log.groups.map((group) => group.timeS[0]!));
  const { startS: from, endS: to } = study.interval;
  const truth = sim.truth.vibration!.over({ startS: from + startS, endS: to + startS })!;
  expect(Math.abs(study.rotor.hoverHz / truth.rotorHz.mean - 1)).toBeLessThan(0.01);
});
