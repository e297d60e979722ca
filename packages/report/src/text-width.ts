/**
 * Widths of text without a browser, so that legends and titles of SVG and PNG stand where they belong. Read from the font's own
 * tables (OpenType: `cmap` format 4, `head`, `hhea`, `hmtx`).
 */

import { readFileSync } from 'node:fs';
import * as vega from 'vega';
import { fontFiles } from './assets.js';

interface GlyphWidths {
  readonly unitsPerEm: number;
  /** Advance by character code; characters the font lacks are as wide as its first glyph. */
  readonly advanceOf: (code: number) => number;
}

interface VegaTextMetrics {
  width: (item: { readonly fontSize?: number; readonly fontWeight?: unknown }, text: unknown) => number;
}

let isInstalled = false;

/** Has the drawing program measure text by the font that ships with the charts; it guesses otherwise. */
export function measureText(): void {
  if (isInstalled) return;
  const [regular, bold] = fontFiles().map(({ path }) => readWidths(readFileSync(path)));
  const metrics = (vega as unknown as { textMetrics: VegaTextMetrics }).textMetrics;
  metrics.width = (item, text) => {
    const isBold = item.fontWeight === 'bold' || Number(item.fontWeight) >= 600;
    const { unitsPerEm, advanceOf } = isBold ? bold! : regular!;
    let sum = 0;
    for (const character of text === null || text === undefined ? '' : String(text))
      sum += advanceOf(character.codePointAt(0)!);
    return (sum * (item.fontSize ?? 11)) / unitsPerEm;
  };
  isInstalled = true;
}

/** @throws RangeError when the font has no table of characters in the form this reads */
export function readWidths(font: Uint8Array): GlyphWidths {
  const view = new DataView(font.buffer, font.byteOffset, font.byteLength);
  const tables = new Map<string, number>();
  for (let i = 0; i < view.getUint16(4); i++) {
    const at = 12 + 16 * i;
    const tag = String.fromCharCode(...font.subarray(at, at + 4));
    tables.set(tag, view.getUint32(at + 8));
  }
  const table = (tag: string): number => {
    const at = tables.get(tag);
    if (at === undefined) throw new RangeError(`the font has no table ${tag}`);
    return at;
  };
  const metrics = view.getUint16(table('hhea') + 34);
  const hmtx = table('hmtx');
  const glyphOf = characterMap(view, table('cmap'));
  return {
    unitsPerEm: view.getUint16(table('head') + 18),
    advanceOf: (code) => view.getUint16(hmtx + 4 * Math.min(glyphOf(code), metrics - 1)),
  };
}

function characterMap(view: DataView, cmap: number): (code: number) => number {
  const count = view.getUint16(cmap + 2);
  for (let i = 0; i < count; i++) {
    const at = cmap + view.getUint32(cmap + 4 + 8 * i + 4);
    if (view.getUint16(at) === 4) return segmentMap(view, at);
  }
  throw new RangeError('the font has no character map of format 4');
}

/** Format 4: segments of codes with a shift each, or with a list of glyphs. */
function segmentMap(view: DataView, at: number): (code: number) => number {
  const doubled = view.getUint16(at + 6);
  const ends = at + 14;
  const starts = ends + doubled + 2;
  const shifts = starts + doubled;
  const offsets = shifts + doubled;
  return (code) => {
    for (let k = 0; k < doubled; k += 2) {
      if (view.getUint16(ends + k) < code) continue;
      const start = view.getUint16(starts + k);
      if (start > code) return 0;
      const offset = view.getUint16(offsets + k);
      const shift = view.getUint16(shifts + k);
      if (offset === 0) return (code + shift) & 0xffff;
      const glyph = view.getUint16(offsets + k + offset + 2 * (code - start));
      return glyph === 0 ? 0 : (glyph + shift) & 0xffff;
    }
    return 0;
  };
}
