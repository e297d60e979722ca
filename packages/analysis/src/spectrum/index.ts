export * from './detrend.js';
export * from './fft.js';
export * from './resample.js';
export * from './tone-fit.js';
export * from './tone.js';
export * from './welch.js';
export * from './windows.js';
