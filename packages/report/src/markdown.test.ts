import { describe, expect, test } from 'vitest';
import { makeWobblyDiagnosis } from '../../../tests/support/hand-made.js';
import { item, list, quantity, sentence, table, words } from './document.js';
import { assembleDiagnosisDocument } from './diagnosis-document.js';
import { renderMarkdown } from './markdown.js';

describe('Markdown', () => {
  test('sections, lists and tables in their Markdown form', () => {
    const text = renderMarkdown({
      title: 'Hover',
      subtitle: '24 s',
      sections: [
        {
          title: 'Roll',
          blocks: [
            sentence('It grows.', 'danger'),
            table([words('name'), quantity('size', 'm')], [['a', '1.5']]),
            list([item('first', ['because'])]),
          ],
        },
      ],
    });
    expect(text).toBe(
      [
        '# Hover',
        '24 s',
        '## Roll',
        '**It grows.**',
        '| name | size, m |\n| --- | ---: |\n| a | 1.5 |',
        '- first\n  - because',
      ].join('\n\n') + '\n',
    );
  });

  test('names from a log cannot become markup, table cells or lines', () => {
    const text = renderMarkdown({
      title: '<script>|`*_',
      subtitle: 'a\nb',
      sections: [{ title: 'x', blocks: [table([words('n')], [['p|q']])] }],
    });
    expect(text).toContain('# \\<script\\>\\|\\`\\*\\_');
    expect(text).toContain('a\\\\u{a}b');
    expect(text).toContain('| p\\|q |');
  });

  test('the Markdown report says what the text report says, without drawings', () => {
    const text = renderMarkdown(assembleDiagnosisDocument(makeWobblyDiagnosis()));
    expect(text).toContain('| 2.431 ± 0.012 | 47.4 ± 2.2 | 3.10 |');
    expect(text).toContain('## Cautions');
    expect(text).not.toContain('####');
  });
});
