export * from './block-bootstrap.js';
export * from './difference-tests.js';
export * from './distributions.js';
export * from './multiple-comparison.js';
export * from './seeded-random.js';
