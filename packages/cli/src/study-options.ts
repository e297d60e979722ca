/** From the command line to what a study is asked. */

import type { DiagnoseOptions } from '@settle/analysis';
import type { GainsFile } from '@settle/parser';
import type { OptionValues } from './options.js';

/** @param gains null: not told */
export function studyOptions(
  { from, to }: Pick<OptionValues, 'from' | 'to'>,
  gains: GainsFile | null,
): DiagnoseOptions {
  return {
    ...(from === undefined ? {} : { fromS: from }),
    ...(to === undefined ? {} : { toS: to }),
    ...(gains === null ? {} : { gains }),
  };
}
