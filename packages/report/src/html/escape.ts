/** Text of a log inside a page: nothing in it may become markup or script. */

import { printable } from '../words.js';

/** Text as it may stand between tags and inside quoted attributes. */
export function escapeHtml(text: string): string {
  return printable(text).replace(/[&<>"'`]/g, (character) => `&#${String(character.charCodeAt(0))};`);
}

/** JSON as it may stand inside a `script` element: no `<`, so that no text in it can end the element. */
export function embedJson(value: unknown): string {
  return JSON.stringify(value).replace(
    /[<>&\u2028\u2029]/g,
    (character) => `\\u${character.charCodeAt(0).toString(16).padStart(4, '0')}`,
  );
}
