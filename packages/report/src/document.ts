/**
 * What a report is made of, whatever it is printed on: sections of sentences, lists, tables, timelines and charts.
 * The builders (`diagnosis-document`, `inspection-document`) decide what is said; the renderers (`text`, `markdown`)
 * decide how it looks. Every number in here is already rounded and stands beside its unit.
 */

import type { Chart } from './charts/chart.js';

/** How much a passage matters. Renderers may colour it; the words alone must carry the meaning. */
export type Emphasis = 'plain' | 'strong' | 'danger' | 'fault' | 'good' | 'quiet';

export interface Sentence {
  readonly kind: 'sentence';
  readonly text: string;
  readonly emphasis: Emphasis;
  /** It says what to do next: where there is room for it, it stands out from what is merely so. */
  readonly isAction?: boolean;
}

export interface ListItem {
  readonly text: string;
  readonly emphasis: Emphasis;
  /** Sub-points, one level deep. */
  readonly children: readonly string[];
}

export interface List {
  readonly kind: 'list';
  readonly items: readonly ListItem[];
}

export interface TableColumn {
  readonly title: string;
  /** Unit of every cell below, or null where cells are words. */
  readonly unit: string | null;
  readonly align: 'left' | 'right';
}

export interface Table {
  readonly kind: 'table';
  readonly columns: readonly TableColumn[];
  /** One text per column; an empty text is a value that does not apply. */
  readonly rows: readonly (readonly string[])[];
}

export interface TimelinePart {
  readonly startS: number;
  readonly endS: number;
  readonly label: string;
  /** One character that fills the part where it is drawn with characters. */
  readonly mark: string;
}

/**
 * Rows of labelled intervals on one time axis. A renderer that cannot draw leaves it out, so a timeline never holds
 * anything that a sentence or a table beside it does not say.
 */
export interface Timeline {
  readonly kind: 'timeline';
  readonly startS: number;
  readonly endS: number;
  readonly rows: readonly { readonly label: string; readonly parts: readonly TimelinePart[] }[];
}

/** A picture. A renderer that cannot draw leaves it out: what it shows is said elsewhere too. */
export interface ChartBlock {
  readonly kind: 'chart';
  readonly chart: Chart;
  /** The one picture that stands beside the verdict. */
  readonly isLead: boolean;
}

export type Block = Sentence | List | Table | Timeline | ChartBlock;

/** What a section is to a reader in a hurry; a renderer with room to fold keeps `evidence` folded. */
export type SectionRole = 'verdict' | 'action' | 'caution' | 'evidence';

export interface Section {
  readonly title: string;
  /** Default: evidence. */
  readonly role?: SectionRole;
  readonly blocks: readonly Block[];
}

export interface ReportDocument {
  readonly title: string;
  /** One line of facts under the title. */
  readonly subtitle: string;
  readonly sections: readonly Section[];
}

export function sentence(text: string, emphasis: Emphasis = 'plain'): Sentence {
  return { kind: 'sentence', text, emphasis };
}

/** A sentence that says what to do next. */
export function action(text: string): Sentence {
  return { kind: 'sentence', text, emphasis: 'strong', isAction: true };
}

/** Every picture of a report, in its order. */
export function allPictures({ sections }: ReportDocument): Chart[] {
  return sections.flatMap(({ blocks }) =>
    blocks.flatMap((block) => (block.kind === 'chart' ? [block.chart] : [])),
  );
}

export function picture(chart: Chart, isLead = false): ChartBlock {
  return { kind: 'chart', chart, isLead };
}

/** The same section with pictures at its end. */
export function illustrated(section: Section, charts: readonly Chart[]): Section {
  return { ...section, blocks: [...section.blocks, ...charts.map((chart) => picture(chart))] };
}

export function item(text: string, children: readonly string[] = [], emphasis: Emphasis = 'plain'): ListItem {
  return { text, emphasis, children };
}

export function list(items: readonly ListItem[]): List {
  return { kind: 'list', items };
}

/** A column of numbers: right-aligned, its unit in the heading. */
export function quantity(title: string, unit: string): TableColumn {
  return { title, unit, align: 'right' };
}

export function words(title: string): TableColumn {
  return { title, unit: null, align: 'left' };
}

export function table(columns: readonly TableColumn[], rows: readonly (readonly string[])[]): Table {
  return { kind: 'table', columns, rows };
}
