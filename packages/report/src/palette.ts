/**
 * The colours of Settle, in this one place. On a terminal colour marks how urgent a line is and nothing else: warm
 * and light for what is wrong, cool for what is well, never red against green. The words say it too.
 */

import type { Emphasis } from './document.js';

/** Parameters of the escape sequence "select graphic rendition" (ECMA-48), empty for none. */
export const TERMINAL_STYLES: Readonly<Record<Emphasis | 'title', string>> = {
  title: '1;4',
  plain: '',
  strong: '1',
  danger: '1;38;5;208',
  fault: '1;38;5;179',
  good: '1;38;5;73',
  quiet: '2',
};
