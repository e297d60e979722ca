/** Reports of flights that between them show every chart there is. */
import { promises as fs } from 'node:fs';
import path from 'node:path';
import {
  compareHovers,
  describeStudy,
  hoverPicture,
  pictureData,
  studyFlight,
  summariseHover,
  type FlightStudy,
} from '@settle/analysis';
import { parseGains, readFlight, type Flight, type GainsFile } from '@settle/parser';
import {
  assembleCharts,
  assembleComparisonDocument,
  assembleDiagnosisDocument,
  type ReportDocument,
} from '@settle/report';
import { flyVibration, toFlight, toGainsFile, type SimulatedFlight } from '@settle/simulator';
import { madeFlight } from '../support/made-flight.js';
import { ROOT } from '../support/command-line.js';
import { randomSource } from '../support/random.js';
import { flySticks } from '../trials/margins-trial.js';

export interface ExampleReport {
  readonly name: string;
  readonly document: ReportDocument;
}

export const DEMO_HOVERS = [1, 2, 3, 4, 5].map((hover) => `samphire-hover-${String(hover)}`);

export async function exampleReports(): Promise<ExampleReport[]> {
  const demo: DemoStudy[] = [];
  for (const name of DEMO_HOVERS) demo.push(await demoStudy(name));
  const sticks = flySticks(10_001);
  const speeds = flyVibration(10_004).sim;
  return [
    ...demo.map(({ name, study }) => reportOfStudy(name, study)),
    reportOf('sticks', toFlight(sticks), gainsOf(sticks)),
    reportOf('rotor-speeds', toFlight(speeds), gainsOf(speeds)),
    reportOf('attitude-alone', attitudeAlone()),
    demoComparison(demo),
  ];
}

interface DemoStudy {
  readonly name: string;
  readonly study: FlightStudy;
  readonly gains: GainsFile;
}

async function demoStudy(name: string): Promise<DemoStudy> {
  const { flight, gains } = await demoFlight(name);
  return { name, study: studyFlight(flight, { gains }), gains };
}

/** The five hovers of the demo side by side. */
function demoComparison(demo: readonly DemoStudy[]): ExampleReport {
  const comparison = compareHovers(
    demo.map(({ name, study, gains }) => summariseHover(study, describeStudy(study), { name, gains })),
  );
  return {
    name: 'comparison',
    document: assembleComparisonDocument(
      comparison,
      demo.map(({ name, study }) => hoverPicture(study, name)),
    ),
  };
}

async function demoFlight(name: string): Promise<{ flight: Flight; gains: GainsFile }> {
  const directory = path.join(ROOT, 'fixtures', name);
  const sources = await Promise.all(
    (await fs.readdir(directory))
      .sort()
      .map(async (file) => ({ name: file, bytes: await fs.readFile(path.join(directory, file)) })),
  );
  const gains = await fs.readFile(path.join(ROOT, 'fixtures/settings', `${name}-gains.json`), 'utf8');
  return { flight: readFlight(sources, { name }), gains: parseGains(gains, 'gains.json') };
}

export function reportOf(name: string, flight: Flight, gains?: GainsFile): ExampleReport {
  return reportOfStudy(name, studyFlight(flight, gains === undefined ? {} : { gains }));
}

function reportOfStudy(name: string, study: FlightStudy): ExampleReport {
  return {
    name,
    document: assembleDiagnosisDocument(describeStudy(study), assembleCharts(pictureData(study))),
  };
}

const gainsOf = (sim: SimulatedFlight): GainsFile =>
  parseGains(JSON.stringify(toGainsFile(sim.config)), 'gains.json');

/** The least a log can hold: the angle of one axis. */
function attitudeAlone(): Flight {
  const random = randomSource(10_002);
  const at = (t: number): number => 0.03 * Math.sin(2 * Math.PI * 1.5 * t) + 0.0005 * random.normal();
  return madeFlight(20, { 'attitude.pitch.measured': { hz: 50, at } });
}
