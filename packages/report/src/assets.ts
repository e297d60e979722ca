/** Files that ship with the packages this one is built on: fonts, and the drawing program that an HTML report carries. */

import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

const resolve = createRequire(import.meta.url).resolve;

const FONT_PACKAGE = '@expo-google-fonts/atkinson-hyperlegible-next';
/** Weights used, with their files (SIL Open Font License 1.1; the licence lies beside them). */
const FONTS = [
  { weight: 400, file: '400Regular/AtkinsonHyperlegibleNext_400Regular.ttf' },
  { weight: 600, file: '600SemiBold/AtkinsonHyperlegibleNext_600SemiBold.ttf' },
] as const;

export interface FontFile {
  readonly weight: number;
  readonly path: string;
}

export function fontFiles(): FontFile[] {
  const directory = path.dirname(resolve(`${FONT_PACKAGE}/package.json`));
  return FONTS.map(({ weight, file }) => ({ weight, path: path.join(directory, file) }));
}

export function readBase64(file: string): string {
  return readFileSync(file).toString('base64');
}

/** The drawing program as one script that leaves a global `vega`, and the expression interpreter beside it. */
export function drawingScript(): string {
  const runtime = readFileSync(path.join(path.dirname(resolve('vega')), 'vega.min.js'), 'utf8');
  const interpreter = readFileSync(resolve('vega-interpreter'), 'utf8')
    .replace(/import \{([^}]*)\} from 'vega-util';/, 'const {$1} = vega;')
    .replace(/export \{ expression as expressionInterpreter \};/, 'vega.expressionInterpreter = expression;')
    .replace(/\/\/# sourceMappingURL=.*$/m, '');
  if (/^\s*(import|export) /m.test(interpreter))
    throw new Error('the expression interpreter has another form than the one it is inlined from');
  return `${runtime.replace(/\/\/# sourceMappingURL=.*$/m, '')}\n(() => {\n${interpreter}\n})();\n`;
}

/** What makes the report answer to pointer and keys; built from `client/`. */
export function clientScript(): string {
  const script = readFileSync(fileURLToPath(new URL('../dist/client/client.js', import.meta.url)), 'utf8');
  // Compiled as a module, which it is not: an inlined module could not be named by its hash in every browser.
  return `(() => {\n${script.replace(/^export \{\};\s*$/m, '')}\n})();\n`;
}
