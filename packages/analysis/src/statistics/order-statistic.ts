/**
 * The value that stands at a place once the first `count` values are sorted, without sorting them all: C. A. R. Hoare, "Algorithm
 * 65: find", Communications of the ACM 4(7), 1961, with the median of three as the value to part by.
 *
 * @param values none NaN; the first `count` are left in another order
 * @param place 0 … count − 1
 * @throws RangeError for a place that does not exist
 */
export function orderStatistic(values: Float64Array, count: number, place: number): number {
  if (!(place >= 0 && place < count && count <= values.length))
    throw new RangeError(`no place ${String(place)} among ${String(count)} values`);
  let low = 0;
  let high = count - 1;
  while (low < high) {
    const pivot = middleOf(values[low]!, values[(low + high) >> 1]!, values[high]!);
    let i = low;
    let j = high;
    while (i <= j) {
      while (values[i]! < pivot) i++;
      while (values[j]! > pivot) j--;
      if (i > j) break;
      const swapped = values[i]!;
      values[i++] = values[j]!;
      values[j--] = swapped;
    }
    if (place <= j) high = j;
    else if (place >= i) low = i;
    else break;
  }
  return values[place]!;
}

function middleOf(a: number, b: number, c: number): number {
  return a < b ? Math.max(a, Math.min(b, c)) : Math.max(b, Math.min(a, c));
}
