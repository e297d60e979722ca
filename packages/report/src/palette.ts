/**
 * The colours of Settle, in this one place. Roll, pitch and yaw (and x, y, z) are ochre, teal and violet: they differ in
 * lightness as well as in hue, so that they stay apart with a colour-vision deficiency, on paper and in the dark. On a
 * terminal colour marks how urgent a line is and nothing else: warm and light for what is wrong, cool for what is well,
 * never red against green. The words say it too.
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

/** What a colour is for. Each theme gives each of them a value of its own, so that one theme can be turned into another. */
export type ColourRole =
  | 'page'
  | 'card'
  | 'ink'
  | 'quiet'
  | 'grid'
  | 'hover'
  | 'roll'
  | 'pitch'
  | 'yaw'
  | 'reference'
  | 'mark'
  | 'advised'
  | 'danger'
  | 'dangerTint'
  | 'fault'
  | 'faultTint'
  | 'good'
  | 'goodTint'
  | 'phaseRest'
  | 'phaseMove'
  | 'phaseUpset'
  | 'heat1'
  | 'heat2'
  | 'heat3'
  | 'heat4'
  | 'heat5'
  | 'heat6'
  | 'heat7'
  | 'heat8';

export type Palette = Readonly<Record<ColourRole, string>>;

export const LIGHT: Palette = {
  page: '#f6f4ee',
  card: '#fffefb',
  ink: '#1d2529',
  quiet: '#556067',
  grid: '#e1ded5',
  hover: '#eef1ec',
  roll: '#b4600a',
  pitch: '#0b6b7d',
  yaw: '#5a2a9a',
  reference: '#6b747a',
  mark: '#9c1458',
  advised: '#0a6255',
  danger: '#8f1d14',
  dangerTint: '#fbe9e4',
  fault: '#74500a',
  faultTint: '#faf0d9',
  good: '#0d5f6a',
  goodTint: '#e3f1f1',
  phaseRest: '#dcd9d0',
  phaseMove: '#c3cbcd',
  phaseUpset: '#f0b9ab',
  heat1: '#f3f4f0',
  heat2: '#dfe8e6',
  heat3: '#bfd5d6',
  heat4: '#93bac1',
  heat5: '#6398a6',
  heat6: '#3c7488',
  heat7: '#234f66',
  heat8: '#142d42',
};

export const DARK: Palette = {
  page: '#12181b',
  card: '#192124',
  ink: '#e8e6df',
  quiet: '#a9b1b4',
  grid: '#2e383c',
  hover: '#20302f',
  roll: '#f0a04b',
  pitch: '#3fb8c6',
  yaw: '#c3a1f7',
  reference: '#98a2a7',
  mark: '#ff8fbd',
  advised: '#57d3b8',
  danger: '#ff9d8c',
  dangerTint: '#3a1d1a',
  fault: '#e9c277',
  faultTint: '#332913',
  good: '#7fd3da',
  goodTint: '#14312f',
  phaseRest: '#364146',
  phaseMove: '#4d5b61',
  phaseUpset: '#7d3d33',
  heat1: '#1d272b',
  heat2: '#1d3a44',
  heat3: '#1f4f5e',
  heat4: '#28697a',
  heat5: '#3b8794',
  heat6: '#62a8ab',
  heat7: '#9ccbc4',
  heat8: '#e6f2df',
};

export const ROLES = Object.keys(LIGHT) as readonly ColourRole[];

/** Name of a role as a custom property of a style sheet. */
export function propertyOf(role: ColourRole): string {
  return `--${role.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)}`;
}

/** The same value with every colour of the light theme replaced; anything else stays as it is. */
export function recolour<Value>(value: Value, colourOf: (role: ColourRole) => string): Value {
  const roles = new Map<string, ColourRole>(ROLES.map((role) => [LIGHT[role], role]));
  const replace = (part: unknown): unknown => {
    if (typeof part === 'string') {
      const role = roles.get(part);
      return role === undefined ? part : colourOf(role);
    }
    if (Array.isArray(part)) return part.map(replace);
    if (part === null || typeof part !== 'object') return part;
    return Object.fromEntries(Object.entries(part).map(([key, entry]) => [key, replace(entry)]));
  };
  return replace(value) as Value;
}
