export * from './diagnosis.js';
