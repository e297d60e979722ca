export { describeNotches, planNotches } from './plan-notches.js';
export * from './plan-types.js';
