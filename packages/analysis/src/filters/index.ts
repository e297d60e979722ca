export * from './biquad.js';
export * from './low-pass-filter.js';
export * from './notch-filter.js';
export * from './run-filters.js';
