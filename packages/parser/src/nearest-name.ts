/**
 * The name a person most likely meant: fewest letters to insert, delete or replace (Levenshtein, "Binary codes capable of
 * correcting deletions, insertions, and reversals", 1966), upper and lower case being the same.
 *
 * @param names at least one
 */
export function nearestName(wanted: string, names: readonly string[]): string {
  const distances = names.map((name) => editDistance(wanted.slice(0, 80).toLowerCase(), name.toLowerCase()));
  return names[distances.indexOf(Math.min(...distances))]!;
}

/** Whether a name is so close to one of `names` that it is more likely a slip than a name of its own. */
export function looksMistyped(wanted: string, names: readonly string[]): boolean {
  const nearest = nearestName(wanted, names);
  // Common practice, no source: one slip in a short name, two in a long one.
  const slips = Math.min(wanted.length, nearest.length) >= 5 ? 2 : 1;
  return editDistance(wanted.slice(0, 80).toLowerCase(), nearest.toLowerCase()) <= slips;
}

function editDistance(from: string, to: string): number {
  let previous = Array.from({ length: to.length + 1 }, (_, index) => index);
  for (let i = 1; i <= from.length; i++) {
    const current = [i];
    for (let j = 1; j <= to.length; j++)
      current.push(
        Math.min(
          previous[j]! + 1,
          current[j - 1]! + 1,
          previous[j - 1]! + (from[i - 1] === to[j - 1] ? 0 : 1),
        ),
      );
    previous = current;
  }
  return previous.at(-1)!;
}
