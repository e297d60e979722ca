/**
 * What an HTML report does in a browser: draws its charts when they come into sight, and lets them be read off and zoomed with
 * pointer and keys. It is inlined behind the drawing program; nothing in here asks for anything from outside the file.
 */

interface View {
  width(value: number): View;
  signal(name: string, value: unknown): View;
  scale(name: string): Scale;
  data(name: string): Row[];
  run(): View;
  tooltip(handler: (handler: unknown, event: MouseEvent, item: unknown, value: unknown) => void): View;
  addResizeListener(name: string, handler: () => void): View;
}

interface Scale {
  (value: number): number;
  invert(position: number): number;
}

type Row = Readonly<Record<string, number | null>>;

interface ReadingRow {
  readonly dataset: string;
  readonly x: string;
  readonly y: string;
  readonly label: string;
  readonly unit: string;
}

interface ChartEntry {
  readonly id: string;
  readonly spec: { readonly signals?: readonly { readonly name: string; readonly value?: unknown }[] };
  readonly reading: {
    readonly label: string;
    readonly unit: string;
    readonly rows: readonly ReadingRow[];
  } | null;
  readonly logarithmic: boolean;
}

declare const vega: {
  parse(spec: unknown, config: null, options: { ast: boolean }): unknown;
  View: new (runtime: unknown, options: Record<string, unknown>) => View;
  expressionInterpreter: unknown;
};

interface Range {
  readonly from: number;
  readonly to: number;
}

/** Room a plot needs beside itself for the labels of its axes. */
const BESIDE_PLOT = 66;
const NARROWEST_PLOT = 180;
/** Share of the range that one press of an arrow key moves the reading. */
const ARROW_STEP = 1 / 60;
const ZOOM_STEP = 0.5;
/** Nothing is seen closer than this share of the whole. */
const CLOSEST = 1 / 2000;
/** A pointer that moves less than this between press and release, px, has clicked. */
const CLICK_PX = 6;

class DrawnChart {
  private readonly entry: ChartEntry;
  private readonly figure: HTMLElement;
  private readonly plot: HTMLElement;
  private readonly tip: HTMLElement;
  private readonly whole: Range;
  private view: View | null = null;
  private shown: Range;
  private at: number;
  private pressedAt: number | null = null;
  private width = 0;

  constructor(entry: ChartEntry, figure: HTMLElement) {
    this.entry = entry;
    this.figure = figure;
    this.plot = figure.querySelector<HTMLElement>('.plot')!;
    this.tip = figure.querySelector<HTMLElement>('.tip')!;
    this.whole = { from: this.initial('from'), to: this.initial('to') };
    this.shown = this.whole;
    this.at = this.middle();
  }

  /** Draws the first time, fits to the page afterwards. */
  draw(): void {
    const width = Math.max(NARROWEST_PLOT, this.figure.clientWidth - BESIDE_PLOT);
    if (this.view !== null) {
      if (width !== this.width) this.view.width(width).run();
      this.width = width;
      return;
    }
    const canvas = this.figure.querySelector<HTMLElement>('.canvas')!;
    const view = new vega.View(vega.parse(this.entry.spec, null, { ast: true }), {
      expr: vega.expressionInterpreter,
      renderer: 'svg',
      container: canvas,
      hover: false,
    });
    view.tooltip((_handler, event, _item, value) => this.showItem(event, value));
    view.width(width).run();
    this.width = width;
    this.view = view;
    // The words stand beside the picture; its hundreds of marks would only be noise to a screen reader.
    canvas.querySelector('svg')?.setAttribute('aria-hidden', 'true');
    this.listen();
  }

  private initial(name: string): number {
    return Number(this.entry.spec.signals?.find((signal) => signal.name === name)?.value ?? 0);
  }

  /** Ranges are halved and moved on the axis as it is drawn: logarithmic where that is. */
  private toAxis(value: number): number {
    return this.entry.logarithmic ? Math.log(value) : value;
  }

  private fromAxis(value: number): number {
    return this.entry.logarithmic ? Math.exp(value) : value;
  }

  private middle(): number {
    return this.fromAxis((this.toAxis(this.shown.from) + this.toAxis(this.shown.to)) / 2);
  }

  private listen(): void {
    const { plot } = this;
    if (this.entry.reading !== null) {
      plot.addEventListener('pointermove', (event) => this.pointTo(event));
      plot.addEventListener('pointerdown', (event) => this.press(event));
      plot.addEventListener('pointerup', (event) => this.release(event));
      plot.addEventListener('pointerleave', () => this.hide());
      plot.addEventListener('pointercancel', () => this.hide());
      plot.addEventListener('dblclick', () => this.zoomTo(this.whole));
      plot.addEventListener('focus', () => this.read(this.at));
      plot.addEventListener('blur', () => this.hide());
      plot.addEventListener('keydown', (event) => this.pressKey(event));
    }
    for (const button of this.figure.querySelectorAll<HTMLButtonElement>('button[data-zoom]'))
      button.addEventListener('click', () => this.zoomBy(button.dataset['zoom']!));
  }

  /** Place of a pointer on the horizontal axis, or null beside it. */
  private placeOf(event: PointerEvent): number | null {
    const area = this.area();
    if (area === null) return null;
    const x = event.clientX - area.left;
    if (x < -4 || x > area.width + 4) return null;
    const scale = area.width / this.width;
    return this.clamped(this.view!.scale('x').invert(x / scale));
  }

  /** Where the panels stand on the page: the widest of their backgrounds. */
  private area(): DOMRect | null {
    let widest: DOMRect | null = null;
    for (const element of this.figure.querySelectorAll('.canvas g.mark-group.role-scope path.background')) {
      const box = element.getBoundingClientRect();
      if (widest === null || box.width > widest.width) widest = box;
    }
    return widest;
  }

  private clamped(value: number): number {
    return Math.min(this.shown.to, Math.max(this.shown.from, value));
  }

  private pointTo(event: PointerEvent): void {
    const place = this.placeOf(event);
    if (place === null) this.hide();
    else this.read(place);
  }

  private press(event: PointerEvent): void {
    if (event.pointerType === 'mouse') this.pressedAt = event.clientX;
    this.pointTo(event);
  }

  /** A stretch drawn with the mouse is looked at more closely. */
  private release(event: PointerEvent): void {
    const pressed = this.pressedAt;
    this.pressedAt = null;
    const area = this.area();
    if (pressed === null || area === null || Math.abs(event.clientX - pressed) < CLICK_PX) return;
    const scale = area.width / this.width;
    const [a, b] = [pressed, event.clientX].map((x) =>
      this.clamped(this.view!.scale('x').invert((x - area.left) / scale)),
    );
    this.zoomTo({ from: Math.min(a!, b!), to: Math.max(a!, b!) });
  }

  private pressKey(event: KeyboardEvent): void {
    const step = (this.toAxis(this.shown.to) - this.toAxis(this.shown.from)) * ARROW_STEP;
    const moved = (steps: number): void => this.read(this.fromAxis(this.toAxis(this.at) + steps * step));
    const actions: Readonly<Record<string, () => void>> = {
      ArrowLeft: () => moved(event.shiftKey ? -10 : -1),
      ArrowDown: () => moved(event.shiftKey ? -10 : -1),
      ArrowRight: () => moved(event.shiftKey ? 10 : 1),
      ArrowUp: () => moved(event.shiftKey ? 10 : 1),
      PageUp: () => moved(10),
      PageDown: () => moved(-10),
      Home: () => this.read(this.shown.from),
      End: () => this.read(this.shown.to),
      '+': () => this.zoomBy('in'),
      '=': () => this.zoomBy('in'),
      '-': () => this.zoomBy('out'),
      '0': () => this.zoomBy('whole'),
      Escape: () => this.hide(),
    };
    const action = event.ctrlKey || event.metaKey || event.altKey ? undefined : actions[event.key];
    if (action === undefined) return;
    event.preventDefault();
    action();
  }

  private zoomBy(how: string): void {
    if (how === 'whole') return this.zoomTo(this.whole);
    const [from, to] = [this.toAxis(this.shown.from), this.toAxis(this.shown.to)];
    const centre = Math.min(to, Math.max(from, this.toAxis(this.at)));
    const factor = how === 'in' ? ZOOM_STEP : 1 / ZOOM_STEP;
    this.zoomTo({
      from: this.fromAxis(centre + (from - centre) * factor),
      to: this.fromAxis(centre + (to - centre) * factor),
    });
  }

  private zoomTo(range: Range): void {
    const [low, high] = [this.toAxis(this.whole.from), this.toAxis(this.whole.to)];
    const from = Math.max(low, this.toAxis(range.from));
    const to = Math.min(high, this.toAxis(range.to));
    if (this.view === null || !(to - from > (high - low) * CLOSEST)) return;
    this.shown = { from: this.fromAxis(from), to: this.fromAxis(to) };
    this.view.signal('from', this.shown.from).signal('to', this.shown.to);
    this.at = this.clamped(this.at);
    this.view.signal('at', this.at).run();
    this.figure.classList.toggle('zoomed', from > low || to < high);
  }

  /** Shows what the curves hold at a place. */
  private read(place: number): void {
    const { reading } = this.entry;
    if (this.view === null || reading === null) return;
    this.at = this.clamped(place);
    this.view.signal('at', this.at).signal('reading', true).run();
    const lines = reading.rows.flatMap((row) => {
      const value = this.valueAt(row, this.at);
      return value === null ? [] : [`${row.label} ${plain(value)} ${row.unit}`.trim()];
    });
    const head = `${reading.label} ${plain(this.at)} ${reading.unit}`.trim();
    this.plot.setAttribute('aria-valuenow', String(Number(this.at.toPrecision(4))));
    this.plot.setAttribute('aria-valuetext', [head, ...lines].join(', '));
    const area = this.area();
    const box = this.plot.getBoundingClientRect();
    const x =
      area === null ? 0 : area.left - box.left + (this.view.scale('x')(this.at) * area.width) / this.width;
    this.showTip(head, lines, x, area === null ? 0 : area.top - box.top);
  }

  /** Value of the row nearest to a place; rows are sorted by it. */
  private valueAt(row: ReadingRow, place: number): number | null {
    const rows = this.view!.data(row.dataset);
    let low = 0;
    let high = rows.length - 1;
    if (high < 0) return null;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (Number(rows[middle]![row.x]) <= place) low = middle;
      else high = middle;
    }
    const isLow = Math.abs(Number(rows[low]![row.x]) - place) <= Math.abs(Number(rows[high]![row.x]) - place);
    const value = rows[isLow ? low : high]![row.y];
    return typeof value === 'number' ? value : null;
  }

  /** What a single mark has to say. */
  private showItem(event: MouseEvent, value: unknown): void {
    if (this.entry.reading !== null) return;
    if (value === null || value === undefined || typeof value !== 'object') return this.hide();
    const lines = Object.entries(value).map(([name, entry]) => `${name}: ${String(entry)}`);
    const box = this.plot.getBoundingClientRect();
    this.showTip('', lines, event.clientX - box.left, event.clientY - box.top);
  }

  private showTip(head: string, lines: readonly string[], x: number, y: number): void {
    const { tip } = this;
    tip.replaceChildren(
      ...[head, ...lines]
        .filter((text) => text !== '')
        .map((text, i) => {
          const line = document.createElement(i === 0 && head !== '' ? 'b' : 'span');
          line.textContent = text;
          return line;
        }),
    );
    tip.hidden = false;
    const room = this.plot.clientWidth;
    const width = tip.offsetWidth;
    const left = x + 12 + width > room ? x - 12 - width : x + 12;
    tip.style.left = `${String(Math.max(0, Math.min(room - width, left)))}px`;
    tip.style.top = `${String(Math.max(0, y + 6))}px`;
  }

  private hide(): void {
    this.tip.hidden = true;
    this.pressedAt = null;
    this.view?.signal('reading', false).run();
  }
}

/** Three or four digits, no exponent in the range that occurs. */
function plain(value: number): string {
  if (value === 0) return '0';
  const digits = Math.max(0, Math.min(4, 3 - Math.floor(Math.log10(Math.abs(value)))));
  return String(Number(value.toFixed(digits)));
}

function start(): void {
  const entries = JSON.parse(document.getElementById('charts')?.textContent ?? '[]') as ChartEntry[];
  const charts = new Map<Element, DrawnChart>();
  for (const entry of entries) {
    const figure = document.getElementById(`chart-${entry.id}`);
    if (figure !== null) charts.set(figure, new DrawnChart(entry, figure));
  }
  // Folded charts have no width: they are drawn once they are unfolded.
  const inSight = (figure: Element): boolean => (figure as HTMLElement).clientWidth > 0;
  const drawVisible = (): void => {
    for (const [figure, chart] of charts) if (inSight(figure)) chart.draw();
  };
  for (const part of document.querySelectorAll('details')) part.addEventListener('toggle', drawVisible);
  let pending = false;
  window.addEventListener('resize', () => {
    if (pending) return;
    pending = true;
    requestAnimationFrame(() => {
      pending = false;
      drawVisible();
    });
  });
  const unfoldAll = (open: boolean): void => {
    for (const part of document.querySelectorAll('details')) part.open = open;
    drawVisible();
  };
  // A printed report holds everything.
  window.addEventListener('beforeprint', () => unfoldAll(true));
  const button = document.getElementById('unfold');
  button?.addEventListener('click', () => {
    const open = button.getAttribute('aria-pressed') !== 'true';
    button.setAttribute('aria-pressed', String(open));
    button.textContent = open ? 'Fold everything' : 'Unfold everything';
    unfoldAll(open);
  });
  // The words are read and folded while the first chart is still being drawn.
  requestAnimationFrame(() =>
    setTimeout(() => {
      drawVisible();
      document.documentElement.dataset['drawn'] = 'yes';
    }),
  );
}

start();
