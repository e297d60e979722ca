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
  type Diagnosis,
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

/** The third and the fourth hold the kinds of charts that the second and the fifth do. */
const DEMO_HOVERS = [1, 2, 5].map((hover) => `samphire-hover-${String(hover)}`);

let made: Promise<readonly ExampleReport[]> | null = null;

/** Made once: to study that many flights takes long, and several files of tests look at the same reports. */
export function exampleReports(): Promise<readonly ExampleReport[]> {
  return (made ??= makeReports());
}

async function makeReports(): Promise<ExampleReport[]> {
  const demo: DemoStudy[] = [];
  for (const name of DEMO_HOVERS) demo.push(await demoStudy(name));
  const sticks = flySticks(10_001);
  const speeds = flyVibration(10_004).sim;
  return [
    ...demo.map(({ name, study, diagnosis }) => reportOfStudy(name, study, diagnosis)),
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
  readonly diagnosis: Diagnosis;
}

async function demoStudy(name: string): Promise<DemoStudy> {
  const { flight, gains } = await demoFlight(name);
  const study = studyFlight(flight, { gains });
  return { name, study, gains, diagnosis: describeStudy(study) };
}

/** Five hovers side by side, as many as the demo has: the later ones stand in for another of the same settings each. */
function demoComparison(studied: readonly DemoStudy[]): ExampleReport {
  const demo = studied.flatMap(({ name, study, gains, diagnosis }, i) => {
    const summary = summariseHover(study, diagnosis, { name, gains });
    const again = `${name}-again`;
    return [
      { name, study, summary },
      ...(i === 0 ? [] : [{ name: again, study, summary: { ...summary, name: again } }]),
    ];
  });
  const comparison = compareHovers(demo.map(({ summary }) => summary));
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
  const study = studyFlight(flight, gains === undefined ? {} : { gains });
  return reportOfStudy(name, study, describeStudy(study));
}

function reportOfStudy(name: string, study: FlightStudy, diagnosis: Diagnosis): ExampleReport {
  return {
    name,
    document: assembleDiagnosisDocument(diagnosis, assembleCharts(pictureData(study))),
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
