import { describe, expect, test } from 'vitest';
import { detectDialect } from './dialect.js';
import { decodeLog } from './encoding.js';
import { LogError } from './log-error.js';
import { ProblemList } from './problems.js';
import { readRecords } from './records.js';
import { readTable } from './table.js';
import type { Table } from './table.js';

const dialectOf = (text: string): ReturnType<typeof detectDialect> => detectDialect(text, true, 'log.csv');
const records = (...chunks: string[]): string[][] =>
  [...readRecords(chunks, ',', 'log.csv')].flatMap((batch) => batch.records.map((record) => [...record]));
const tableOf = (text: string): { table: Table; problems: ProblemList } => {
  const log = decodeLog({ name: 'log.csv', bytes: new TextEncoder().encode(text) });
  const problems = new ProblemList();
  return {
    table: readTable(log, detectDialect(log.sample, log.sampleIsAll, 'log.csv'), 'log.csv', problems),
    problems,
  };
};
const numbers = (text: string): number[][] => tableOf(text).table.columns.map((column) => [...column.values]);
const refused = (run: () => unknown): LogError => {
  try {
    run();
  } catch (error) {
    if (error instanceof LogError) return error;
    throw error;
  }
  throw new Error('expected a LogError');
};

// RFC 4180 (Y. Shafranovich, October 2005) section 2, strings as listed in reference-values.md section 12.
describe('RFC 4180 section 2', () => {
  test('rule 2: the last line break is optional', () => {
    expect(records('aaa,bbb,ccc\r\nzzz,yyy,xxx')).toEqual([
      ['aaa', 'bbb', 'ccc'],
      ['zzz', 'yyy', 'xxx'],
    ]);
    expect(records('aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n')).toHaveLength(2);
  });
  test('rule 6: a quoted field may hold line breaks', () => {
    expect(records('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx')).toEqual([
      ['aaa', 'b\r\nbb', 'ccc'],
      ['zzz', 'yyy', 'xxx'],
    ]);
  });
  test('rule 7: a doubled quote is a quote', () => {
    expect(records('"aaa","b""bb","ccc"')).toEqual([['aaa', 'b"bb', 'ccc']]);
  });
});

describe('records', () => {
  test('are the same however the text is cut into chunks', () => {
    const text = 'a,b\r\n1,"x ""y""\r\n z"\r\n\r\n3,4\r\n5,6';
    const whole = records(text);
    expect(whole).toEqual([['a', 'b'], ['1', 'x "y"\r\n z'], [''], ['3', '4'], ['5', '6']]);
    for (let cut = 1; cut < text.length; cut++)
      expect(records(text.slice(0, cut), text.slice(cut))).toEqual(whole);
  });
  test('end at LF, CRLF or CR, also mixed in one file', () => {
    const expected = [
      ['a', 'b'],
      ['1', '2'],
      ['3', '4'],
    ];
    for (const newline of ['\n', '\r\n', '\r'])
      expect(records(['a,b', '1,2', '3,4'].join(newline))).toEqual(expected);
    expect(records('a,b\n1,2\r\n3,4\r\n')).toEqual(expected);
    expect(records('a,b\r\n1,2\n3,4\n')).toEqual(expected);
  });
  test('know their line although quoted cells hold line breaks', () => {
    const [batch] = [...readRecords(['a,"b\nc"\n1,2\n"x\ny\nz",3\n4,5\n'], ',', 'log.csv')].slice(0, 1);
    expect(batch?.lines).toEqual([1, 3, 4, 7]);
  });
  test('an unclosed quote is refused at the line where it opens', () => {
    const error = refused(() => records('a,b\n1,2\n3,"4\n5,6\n'));
    expect([error.code, error.line]).toEqual(['unclosed-quote', 3]);
  });
  test('10 MB on one line is refused, not waited for', () => {
    const chunk = '1,'.repeat(500_000);
    const error = refused(() => records(...Array.from({ length: 10 }, () => chunk)));
    expect([error.code, error.line]).toEqual(['record-too-long', 1]);
  });
});

describe('dialects', () => {
  test.each([
    ['comma', 't,a\n0,1.5\n1,2.5\n', ',', '.'],
    ['semicolon', 't;a\n0;1.5\n1;2.5\n', ';', '.'],
    ['semicolon with decimal comma', 't;a\n0,0;1,5\n0,1;2,5\n', ';', ','],
    ['tab with decimal comma', 't\ta\n0,0\t1,5\n0,1\t2,5\n', '\t', ','],
    ['space', 't a\n0 1.5\n1 2.5\n', ' ', '.'],
    ['runs of spaces', '  t      a\n  0.0    1.5\n 10.0   -2.5\n', ' ', '.'],
    ['comma and space', 't, a\n0, 1.5\n1, 2.5\n', ',', '.'],
    ['quoted decimal comma between commas', 't,a\n"0,0","1,5"\n"0,1","2,5"\n', ',', ','],
    ['integers only', 't;a\n0;1\n1;2\n', ';', '.'],
  ])('%s', (_, text, delimiter, decimal) => {
    expect(dialectOf(text)).toMatchObject({ delimiter, decimal, header: ['t', 'a'], headerLine: 1 });
  });
  test('the numbers of every dialect come out alike', () => {
    const expected = [
      [0, 0.5],
      [1.5, -2.25],
    ];
    for (const text of [
      't,a\n0,1.5\n0.5,-2.25\n',
      't;a\r\n0;1,5\r\n0,5;-2,25\r\n',
      't\ta\n0\t1.5\n0.5\t-2.25',
      ' t  a\n 0  1.5\n 0.5  -2.25\n',
    ])
      expect(numbers(text)).toEqual(expected);
  });
});

describe('header, units row and preamble', () => {
  test('lines before the header are skipped, numbers in them notwithstanding', () => {
    const text = 'Hover log, revision 2\nRate,100\n\ntime,roll,pitch\n0,1,2\n1,2,3\n2,3,4\n';
    expect(dialectOf(text)).toMatchObject({ headerLine: 4, dataLine: 5, header: ['time', 'roll', 'pitch'] });
  });
  test('comment lines are skipped, before and among the rows', () => {
    const text = '# made for a test\n# rate 100\ntime,roll\n0,1\n# pause\n1,2\n2,3\n';
    expect(dialectOf(text).headerLine).toBe(3);
    expect(numbers(text)).toEqual([
      [0, 1, 2],
      [1, 2, 3],
    ]);
  });
  test('a header in a comment is a header if it has a name for each column', () => {
    expect(dialectOf('# time roll\n0 1\n1 2\n2 3\n')).toMatchObject({
      header: ['time', 'roll'],
      headerLine: 1,
    });
    expect(dialectOf('# log of tuesday morning\n0 1\n1 2\n2 3\n').header).toBeNull();
  });
  test('a row of units under the header is told from numbers and from a second header', () => {
    expect(dialectOf('time,roll,gyro_x\ns,deg,deg/s\n0,1,2\n1,2,3\n')).toMatchObject({
      unitsLine: 2,
      units: ['s', 'deg', 'deg/s'],
      dataLine: 3,
    });
    expect(dialectOf('time;roll\n[ms];[°]\n0;1\n10;2\n').units).toEqual(['[ms]', '[°]']);
  });
  test('a drawn line under the header is skipped', () => {
    expect(dialectOf('Deflection\n-----\n  5\n  6\n  7\n')).toMatchObject({
      header: ['Deflection'],
      dataLine: 3,
    });
  });
  test('a log of numbers only has no header', () => {
    expect(dialectOf('0.1\t0.2\n0.3\t0.4\n')).toMatchObject({ header: null, width: 2, dataLine: 1 });
  });
  test('repeated and empty header cells are named by number', () => {
    const { table } = tableOf('t,a,,a\n0,1,2,3\n1,2,3,4\n');
    expect(table.columns.map((column) => column.label)).toEqual(['t', 'column 2', 'column 3', 'column 4']);
  });
});

describe('rows', () => {
  test('trailing commas, blank lines and empty cells make no samples and no shift', () => {
    expect(numbers('t,a,\n0,1,\n\n1,,\n  \n2,3,\n')).toEqual([
      [0, 1, 2],
      [1, NaN, 3],
      [NaN, NaN, NaN],
    ]);
  });
  test('twice as many cells as headings are decimal commas between commas, and stop', () => {
    expect(() => tableOf('t,a\n0,00,1,25\n0,01,-1,50\n0,02,1,75\n')).toThrow(
      /4 cells stand under 2 headings: commas seem to stand both between the cells and in the numbers/,
    );
  });
  test('a last line cut off is left out and reported with its line', () => {
    const { table, problems } = tableOf('t,a,b\n0,1,2\n1,2,3\n2,3');
    expect(table.rows).toBe(2);
    expect(problems.list()).toMatchObject([{ line: 4, message: 'the last line is cut off and left out' }]);
  });
  test('a last line without line break but whole is kept', () => {
    expect(tableOf('t,a\n0,1\n1,2').table.rows).toBe(2);
  });
  test('rows with too many cells keep the named ones and are reported', () => {
    const { table, problems } = tableOf('t,a\n0,1\n1,2,9\n2,3,9\n3,4\n4,5\n');
    expect(table.rows).toBe(5);
    expect(problems.list()).toMatchObject([{ line: 3, count: 2 }]);
  });
  test('a header repeated among the rows is left out and reported', () => {
    const { table, problems } = tableOf('t,a\n0,1\nt,a\n1,2\n');
    expect(table.rows).toBe(2);
    expect(problems.list()).toMatchObject([{ line: 3 }]);
  });
  test('texts, NaN and inf are counted with their first row', () => {
    const { table } = tableOf('t,a\n0,1\n1,NaN\n2,oops\n3,inf\n4,oops\n5,2\n');
    expect(table.columns[1]).toMatchObject({
      finite: 2,
      textCells: 2,
      firstText: { row: 2, text: 'oops' },
      notFinite: { count: 2, row: 1 },
    });
  });
  test('JavaScript reads 0x10, blanks and the like as numbers; a log does not', () => {
    expect(numbers('t,a\n0,1\n1,0x10\n2, \n3,1\n')[1]).toEqual([1, NaN, NaN, 1]);
  });
  test('each row knows its line across comments, blank lines and quoted line breaks', () => {
    const { table } = tableOf('t,a,note\n0,1,"x\ny"\n\n1,2,z\n# pause\n2,3,z\n');
    expect([0, 1, 2].map(table.lineOf)).toEqual([2, 5, 7]);
  });
  test('more rows than the first capacity are all kept', () => {
    const rows = Array.from({ length: 5000 }, (_, i) => `${String(i)},${String(2 * i)}`);
    const [t, a] = numbers(`t,a\n${rows.join('\n')}\n`);
    expect([t!.length, t![4999], a![4999]]).toEqual([5000, 4999, 9998]);
  });
  test('a header without rows and a text without numbers are refused', () => {
    expect(refused(() => tableOf('time,roll\n')).code).toBe('header-only');
    expect(refused(() => tableOf('name,text\na,b\nc,d\n')).code).toBe('no-numbers');
  });
});
