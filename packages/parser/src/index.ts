export * from './flight.js';
export { describeClock } from './clock.js';
