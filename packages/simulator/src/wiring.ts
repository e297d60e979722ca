import { AXES } from '@settle/parser';
import type { FlightConfig } from './config.js';

/** A flight's wiring mistakes, ready to be applied to the numbers of each step. */
export class MadeWiring {
  private readonly places: readonly number[];
  private readonly signs: readonly number[];
  private readonly cos: number;
  private readonly sin: number;
  private readonly sent = new Float64Array(4);

  private constructor(wiring: NonNullable<FlightConfig['wiring']>) {
    this.places = (wiring.motorOrder ?? [1, 2, 3, 4]).map((place) => place - 1);
    this.signs = AXES.map((axis) => wiring.sign?.[axis] ?? 1);
    const turn = ((wiring.boardTurnedDeg ?? 0) * Math.PI) / 180;
    this.cos = Math.cos(turn);
    this.sin = Math.sin(turn);
  }

  /**
   * @returns null for an aircraft that is connected as it should be
   * @throws RangeError where two commands reach one rotor
   */
  static of(config: FlightConfig): MadeWiring | null {
    const { wiring } = config;
    if (wiring === undefined) return null;
    const made = new MadeWiring(wiring);
    if ([...made.places].sort().join() !== '0,1,2,3')
      throw new RangeError('each motor command must reach a rotor of its own');
    return made;
  }

  /** Commands in the order of the controller become commands in the order of the rotors. */
  connect(commands: Float64Array): void {
    this.sent.set(commands);
    for (let i = 0; i < 4; i++) commands[this.places[i]!] = this.sent[i]!;
  }

  /** Angular accelerations the rotors give. */
  turnRotors(control: Float64Array): void {
    for (let a = 0; a < 3; a++) control[a] = control[a]! * this.signs[a]!;
  }

  /** What the body does becomes what a turned board reports: of a vector, and of small roll and pitch angles. */
  turnBoard(vector: Float64Array): void {
    const x = vector[0]!;
    const y = vector[1]!;
    vector[0] = this.cos * x + this.sin * y;
    vector[1] = this.cos * y - this.sin * x;
  }
}
