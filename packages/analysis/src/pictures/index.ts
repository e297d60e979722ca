export type * from './picture-data.js';
export { pictureData } from './picture-data-of-study.js';
