export type * from './picture-data.js';
export { hoverPicture, type HoverPicture } from './hover-picture.js';
export { pictureData } from './picture-data-of-study.js';
