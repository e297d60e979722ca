/** Findings that only a sequence of hovers can make. */
import type { Finding } from '../diagnosis.js';
import { configurationChanges } from './builds.js';
import type { FoundChange } from './effectiveness.js';
import type { HoverSummary } from './hover-summary.js';

export function configurationFindings(
  hovers: readonly HoverSummary[],
  builds: readonly number[],
  changes: readonly FoundChange[],
): Finding[] {
  const told = hovers.flatMap((later, h): Finding[] => {
    if (h === 0 || builds[h] === builds[h - 1]) return [];
    const earlier = hovers[h - 1]!;
    const own = changes.filter((c) => c.hover === h && c.declared);
    return [
      {
        id: 'configuration-changed',
        axis: null,
        severity: 'note',
        confidence: 0.99,
        summary: `${later.name} was flown with another build than ${earlier.name} (${configurationChanges(earlier.configuration, later.configuration).join('; ')}): nothing is called better or worse by gain`,
        evidence:
          own.length > 0
            ? own.map((c) => `${sizeText(c, hovers)}; ${scalingText(c, hovers)}`)
            : ['no change of effectiveness is seen'],
      },
    ];
  });
  const seen = changes
    .filter((c) => !c.declared)
    .map((c): Finding => {
      const weaker = c.lnRatio < 0;
      return {
        id: 'configuration-changed',
        axis: c.axes.length === 1 ? c.axes[0]! : null,
        severity: weaker ? 'fault' : 'note',
        confidence: c.p < 0.001 ? 0.95 : 0.85,
        summary: `${hovers[c.hover]!.name}: ${sizeText(c, hovers)}, with no other build told: ${
          weaker
            ? 'more inertia (parts added, wings on), or a weak motor, prop or battery'
            : 'less inertia (parts left off), or stronger rotors or battery'
        }`,
        evidence: [
          `p = ${c.p < 0.001 ? 'below 0.001' : c.p.toFixed(3)}, everything else about the plant taken to be the same`,
          'margins of hovers before and after are worked out with their own effectiveness',
          scalingText(c, hovers),
        ],
      };
    });
  return [...told, ...seen];
}

function sizeText({ lnRatio, std, axes, against }: FoundChange, hovers: readonly HoverSummary[]): string {
  const percent = 100 * (Math.exp(lnRatio) - 1);
  return `a unit of demand turns ${axes.join(', ')} ${Math.abs(percent).toFixed(0)} % ${percent > 0 ? 'more' : 'less'} than in ${against.map((h) => hovers[h]!.name).join(', ')} (± ${(100 * std).toFixed(0)} %)`;
}

/** A loop is its gains times its plant: what the plant loses the gains must make up for. */
function scalingText({ lnRatio, std, axes, against }: FoundChange, hovers: readonly HoverSummary[]): string {
  const factor = Math.exp(-lnRatio);
  return `gains go with one over it: loops as tight as those of ${against.map((h) => hovers[h]!.name).join(', ')} take ${factor.toFixed(2)} times its rate gains on ${axes.join(', ')} (± ${(factor * std).toFixed(2)})`;
}
