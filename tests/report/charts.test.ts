/** Every chart of every kind of flight, as data and drawn without a browser. */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import { Ajv } from 'ajv';
import { beforeAll, describe, expect, test } from 'vitest';
import type { Chart } from '@settle/report';
import { LIGHT, DARK, ROLES } from '../../packages/report/src/palette.js';
import { fontFiles } from '../../packages/report/src/assets.js';
import { allPictures } from '../../packages/report/src/document.js';
import { WarningLog } from '../../packages/report/src/compile-chart.js';
import { chartSvg, drawChart, rasterise } from '../../packages/report/src/raster.js';
import { exampleReports, type ExampleReport } from './example-reports.js';

/** One of each kind at least: without it a kind could vanish unseen. */
const KINDS = [
  'flight',
  'close-up',
  'spectrum',
  'spectrogram',
  'rate-loop',
  'attitude-loop',
  'gains',
  'step',
  'coherence',
  'gyro-vibration',
  'accel-vibration',
  'gyro-filtered',
  'campbell',
  'motors',
  'over-hovers',
  'spectra',
  'steps',
];
/** Letters smaller than this on a phone are not read, px of the SVG. */
const SMALLEST_TEXT = 11;

let reports: readonly ExampleReport[] = [];
let charts: readonly { readonly report: string; readonly chart: Chart }[] = [];

beforeAll(async () => {
  reports = await exampleReports();
  charts = reports.flatMap(({ name, document }) =>
    allPictures(document).map((chart) => ({ report: name, chart })),
  );
});

/** Runs a check over all charts and gathers what it says against them. */
function faults(check: (chart: Chart) => readonly string[]): string[] {
  return charts.flatMap(({ report, chart }) =>
    check(chart).map((fault) => `${report} ${chart.id}: ${fault}`),
  );
}

describe('charts as data', () => {
  test('every kind of chart occurs, and no report has two of one name', () => {
    const kindsSeen = KINDS.filter((kind) =>
      charts.some(({ chart }) => chart.id === kind || chart.id.endsWith(`-${kind}`)),
    );
    expect(kindsSeen).toEqual(KINDS);
    for (const { document } of reports) {
      const ids = allPictures(document).map(({ id }) => id);
      expect(new Set(ids).size).toBe(ids.length);
      expect(ids.filter((id) => !/^[a-z0-9-]+$/.test(id))).toEqual([]);
    }
  });

  test('every specification is one by the schema of Vega-Lite 6, and the schema refuses a broken one', () => {
    const validate = new Ajv({ strict: false, allErrors: false, validateFormats: false }).compile(
      vegaLiteSchema(),
    );
    expect(
      faults(({ spec }) =>
        validate(spec) ? [] : [`${validate.errors![0]!.instancePath} ${validate.errors![0]!.message ?? ''}`],
      ),
    ).toEqual([]);
    const [first] = charts;
    expect(validate({ ...first!.chart.spec, spacing: 'wide' })).toBe(false);
  });

  test('every chart says what to see and what it shows, and is pure data', () => {
    expect(
      faults(({ title, see, alternative, spec }) => [
        ...(title.length < 5 ? ['no title'] : []),
        ...(/^[A-ZÀ-Þ].{20,}[.]$/s.test(see) ? [] : [`what to see: ${see}`]),
        ...(/^[A-ZÀ-Þ].{20,}[.]$/s.test(alternative) ? [] : [`alternative: ${alternative}`]),
        ...(JSON.stringify(JSON.parse(JSON.stringify(spec))) === JSON.stringify(spec) ? [] : ['not JSON']),
        ...(/NaN|Infinity|undefined/.test(JSON.stringify([spec, see, alternative])) ? ['not a number'] : []),
      ]),
    ).toEqual([]);
  });

  test('every quantity of an axis carries its unit', () => {
    // Quantities without one: shares and pure numbers, named as such.
    const unitless =
      /coherence, 0 to 1|share of the step|all rate gains times|hover, in the order flown|ratio|peak|throttle|on a stop|over motion expected/;
    expect(
      faults(({ spec }) =>
        axisTitles(spec)
          .filter((title) => !/, (\S| of )+/.test(title) && !unitless.test(title))
          .map((title) => `axis without a unit: ${title}`),
      ),
    ).toEqual([]);
    expect(faults(({ spec }) => (axisTitles(spec).length < 2 ? ['less than two axes named'] : []))).toEqual(
      [],
    );
  });

  test('only colours of the palette occur', () => {
    const known = new Set(ROLES.map((role) => LIGHT[role]));
    expect(
      faults(({ spec }) => {
        const used = JSON.stringify(spec).match(/#[0-9a-fA-F]{3,8}\b/g) ?? [];
        return used.filter((colour) => !known.has(colour));
      }),
    ).toEqual([]);
  });
});

describe('charts drawn without a browser', () => {
  test('every chart draws without a warning and holds a mark for each curve and its names', async () => {
    const found: string[] = [];
    for (const { report, chart } of charts) {
      const log = new WarningLog();
      const svg = await chartSvg(chart, log);
      const marks = svg.match(/<g class="mark-[a-z]+ role-mark[^>]*>(?:<path|<text|<line|<g)/g) ?? [];
      if (log.messages.length > 0) found.push(`${report} ${chart.id}: ${log.messages[0]!}`);
      if (marks.length < 1) found.push(`${report} ${chart.id}: nothing is drawn`);
      for (const size of svg.matchAll(/font-size="([\d.]+)px"/g))
        if (Number(size[1]) < SMALLEST_TEXT) found.push(`${report} ${chart.id}: letters of ${size[1]!} px`);
      if (!svg.includes('role="img" aria-label="')) found.push(`${report} ${chart.id}: no words for it`);
    }
    expect(found).toEqual([]);
  });

  test('a PNG has twice the size of its SVG, and its text is drawn with the fonts that come along', async () => {
    for (const kind of KINDS) {
      const { chart } = charts.find(({ chart: each }) => each.id === kind || each.id.endsWith(`-${kind}`))!;
      const { svg, png } = await drawChart(chart);
      const [width, height] = ['width', 'height'].map((side) =>
        Number(new RegExp(`<svg [^>]*\\b${side}="([\\d.]+)"`).exec(svg)![1]),
      );
      const bytes = Buffer.from(png);
      expect(bytes.subarray(1, 4).toString('latin1')).toBe('PNG');
      expect(bytes.readUInt32BE(16) / (2 * width!)).toBeCloseTo(1, 2);
      expect(bytes.readUInt32BE(20) / (2 * height!)).toBeCloseTo(1, 2);
      // The same picture where no font is found has none of its letters.
      const letters = svg.replace(/<[^>]*>/g, '').replace(/\s/g, '').length;
      const ink = inkOf(rasterise(svg, fontFiles()).pixels) - inkOf(rasterise(svg, []).pixels);
      // At twice 12 px the stem of a letter alone covers some forty pixels.
      expect(ink).toBeGreaterThan(20 * letters);
    }
  });
});

describe('the palette', () => {
  // WCAG 2.2, success criteria 1.4.3 and 1.4.11: contrast of text 4.5:1, of graphics 3:1.
  const text = ['ink', 'quiet', 'danger', 'fault', 'good', 'mark'] as const;
  const graphics = ['roll', 'pitch', 'yaw', 'reference', 'advised'] as const;

  test.each([
    ['light', LIGHT],
    ['dark', DARK],
  ] as const)('%s: text has a contrast of 4.5 and curves of 3 against page and card', (_, palette) => {
    for (const ground of ['page', 'card'] as const) {
      for (const role of text) expect(contrast(palette[role], palette[ground])).toBeGreaterThan(4.5);
      for (const role of graphics) expect(contrast(palette[role], palette[ground])).toBeGreaterThan(3);
    }
  });

  test.each([
    ['light', LIGHT],
    ['dark', DARK],
  ] as const)('%s: the three axes stay apart for eyes that lack one kind of cone', (_, palette) => {
    for (const lacking of Object.keys(LACKING) as (keyof typeof LACKING)[]) {
      const seen = (['roll', 'pitch', 'yaw'] as const).map((axis) => lab(seenBy(palette[axis], lacking)));
      for (const [a, b] of [
        [0, 1],
        [0, 2],
        [1, 2],
      ] as const)
        expect(Math.hypot(...seen[a]!.map((value, i) => value - seen[b]![i]!))).toBeGreaterThan(10);
    }
  });
});

function vegaLiteSchema(): object {
  const report = createRequire(new URL('../../packages/report/package.json', import.meta.url));
  const file = path.join(path.dirname(report.resolve('vega-lite')), 'vega-lite-schema.json');
  return JSON.parse(readFileSync(file, 'utf8')) as object;
}

/** Titles of all axes that have one, wherever they stand in a specification. */
function axisTitles(spec: unknown): string[] {
  if (Array.isArray(spec)) return spec.flatMap(axisTitles);
  if (spec === null || typeof spec !== 'object') return [];
  return Object.entries(spec).flatMap(([key, value]) => {
    const title = key === 'axis' ? (value as { title?: unknown } | null)?.title : undefined;
    return [...(typeof title === 'string' ? [title] : []), ...axisTitles(value)];
  });
}

/** How many pixels' worth of darkness a picture holds against its lightest colour. */
function inkOf(pixels: Uint8Array): number {
  let sum = 0;
  for (let i = 0; i < pixels.length; i += 4) sum += 255 - (pixels[i]! + pixels[i + 1]! + pixels[i + 2]!) / 3;
  return sum / 255;
}

const channels = (colour: string): number[] =>
  [1, 3, 5].map((at) => {
    const value = parseInt(colour.slice(at, at + 2), 16) / 255;
    // IEC 61966-2-1, sRGB.
    return value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
  });

function contrast(a: string, b: string): number {
  const luminance = (colour: string): number => {
    const [r, g, blue] = channels(colour);
    return 0.2126 * r! + 0.7152 * g! + 0.0722 * blue!;
  };
  const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y);
  return (high! + 0.05) / (low! + 0.05);
}

/**
 * Linear RGB to linear RGB for complete deficiency: Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation
 * of Color Vision Deficiency", IEEE TVCG 15 (2009), severity 1.0 (values from memory; rows sum to one).
 */
const LACKING = {
  protanopia: [
    [0.152286, 1.052583, -0.204868],
    [0.114503, 0.786281, 0.099216],
    [-0.003882, -0.048116, 1.051998],
  ],
  deuteranopia: [
    [0.367322, 0.860646, -0.227968],
    [0.280085, 0.672501, 0.047413],
    [-0.01182, 0.04294, 0.968881],
  ],
  tritanopia: [
    [1.255528, -0.076749, -0.178779],
    [-0.078411, 0.930809, 0.147602],
    [0.004733, 0.691367, 0.3039],
  ],
} as const;

function seenBy(colour: string, lacking: keyof typeof LACKING): number[] {
  const linear = channels(colour);
  return LACKING[lacking].map((row) => row.reduce((sum, factor, i) => sum + factor * linear[i]!, 0));
}

/** CIE 1976 L*a*b* of linear sRGB (IEC 61966-2-1, white point D65). */
function lab(linear: readonly number[]): number[] {
  const [r, g, b] = linear.map((value) => Math.min(1, Math.max(0, value)));
  const f = (t: number): number => (t > (6 / 29) ** 3 ? Math.cbrt(t) : t / (3 * (6 / 29) ** 2) + 4 / 29);
  const x = f((0.4124 * r! + 0.3576 * g! + 0.1805 * b!) / 0.9505);
  const y = f(0.2126 * r! + 0.7152 * g! + 0.0722 * b!);
  const z = f((0.0193 * r! + 0.1192 * g! + 0.9505 * b!) / 1.089);
  return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
}
