export * from './distributions.js';
