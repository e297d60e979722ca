import { promises as fs } from 'node:fs';
import path from 'node:path';
import type { Diagnosis } from '@settle/analysis';
import { samphireHovers } from '@settle/simulator';
import { describe, expect, test } from 'vitest';
import { ROOT, settle } from '../support/command-line.js';
import { DIAGNOSIS_SCHEMA, INSPECTION_SCHEMA, schemaErrors } from '../support/contract-schema.js';
import { makeDiagnosis, makeWobblyDiagnosis } from '../support/hand-made.js';

const FLIGHTS = [1, 2, 3, 4, 5].map((hover) => `fixtures/samphire-hover-${hover}`);

describe('the demo flights', () => {
  test('pnpm demo diagnoses the first hover, then compares the whole record; the next hover is better', async () => {
    const manifest = JSON.parse(await fs.readFile(path.join(ROOT, 'package.json'), 'utf8')) as {
      scripts: Record<string, string>;
    };
    expect(manifest.scripts['demo']).toMatch(
      /diagnose fixtures\/samphire-hover-1 .* compare --record fixtures\/samphire-record\.json --html samphire-record\.html --force$/,
    );
    const { status, stdout } = await settle(['diagnose', FLIGHTS[0]!], { cwd: ROOT });
    expect(status).toBe(0);
    const verdict = /^Verdict\n(.*?)\n\n/ms.exec(stdout)?.[1]?.replace(/\s+/g, ' ').trim() ?? '';
    // Its settings raise the proportional gain of the pitch rate loop alone: that is what the page opens with.
    expect(verdict).toMatch(/^Danger: Pitch wobbles at 4\.\d+ Hz /);
    expect(verdict).toMatch(
      /source: rate loop \(\d\d % sure\)\. The pitch rate loop is too tight .*: the P gain above all\./,
    );
    // What to do first stands beside it, its caution with it: P down, and no way back to gains that swing by themselves.
    expect(verdict).toMatch(/\. Before the next hover, pitch: rate P × 0\.\d+[,;.]/);
    expect(verdict).toContain('Do not go back to the old gains');
    expect(verdict).toMatch(/Nothing stands out on roll and yaw\./);
    // Four seconds of a violent swing say nothing of what turns.
    expect(stdout).toMatch(/Rotor speed is not known: /);
    // The next hover, with pitch mended as advised: it wobbles no more, and roll is the next thing to do.
    const next = await settle(['diagnose', '--json', FLIGHTS[1]!], { cwd: ROOT });
    const better = JSON.parse(next.stdout) as Diagnosis;
    expect(schemaErrors(DIAGNOSIS_SCHEMA, better)).toEqual([]);
    expect(better.axes.pitch.oscillations).toEqual([]);
    expect(better.findings[0]).toMatchObject({ id: 'loop-too-loose', axis: 'roll' });
    const { hoverHz } = samphireHovers()[1]!.config.rotors;
    expect(better.vibration).toMatchObject({ rotor: { from: 'spectrum' } });
    const said = (better.vibration as { rotor: { hoverHz: number } }).rotor.hoverHz;
    expect(Math.abs(said / hoverHz - 1)).toBeLessThan(0.01);
  });

  // The comparison of all five holds each diagnosis, and is held against the contract as well.
  // What is read of the others has the same channels.
  test.each([FLIGHTS[0]!, FLIGHTS[4]!])('%s: what is read of it keeps the contract', async (flight) => {
    const inspected = await settle(['inspect', '--json', flight], { cwd: ROOT });
    expect(inspected.status).toBe(0);
    expect(schemaErrors(INSPECTION_SCHEMA, JSON.parse(inspected.stdout))).toEqual([]);
  });
});

describe('the schema of the contract', () => {
  test('takes a complete result', () => {
    expect(schemaErrors(DIAGNOSIS_SCHEMA, makeWobblyDiagnosis())).toEqual([]);
  });

  const axes = makeWobblyDiagnosis().axes;
  const [wobble] = axes.pitch.oscillations;
  const withWobble = (changes: object): unknown =>
    makeDiagnosis({
      axes: { ...axes, pitch: { ...axes.pitch, oscillations: [{ ...wobble!, ...changes }] } },
    });

  test.each<[string, unknown, string]>([
    ['a number that is null', withWobble({ frequencyHz: null }), '/axes/pitch/oscillations/0/frequencyHz'],
    ['a confidence above 1', withWobble({ confidence: 1.2 }), '/axes/pitch/oscillations/0/confidence'],
    ['an origin of its own', withWobble({ origin: 'gremlin' }), '/axes/pitch/oscillations/0/origin'],
    ['no cautions', makeDiagnosis({ cautions: [] }), '/cautions'],
    ['an absence without a reason', makeDiagnosis({ battery: { unavailable: '' } }), '/battery'],
    ['another schema', { ...makeDiagnosis(), schema: 'settle.diagnosis/2' }, '/schema'],
    [
      'a gain advice without its factor',
      makeDiagnosis({
        advice: [
          {
            step: 1,
            kind: 'gain',
            axis: 'roll',
            loop: 'rate',
            term: 'P',
            basis: 'scaling',
            because: [],
            watchFor: '',
            text: 'x',
          },
        ],
      }),
      '/advice/0',
    ],
  ])('refuses %s', (_, value, place) => {
    expect(schemaErrors(DIAGNOSIS_SCHEMA, value).map((error) => error.split(' ')[0])).toContain(place);
  });
});
