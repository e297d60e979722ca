/** The log was read, but cannot support the analysis asked for. `next` says what to log or fly instead. */
export class CannotAnalyse extends Error {
  readonly next: string;

  constructor(message: string, next: string) {
    super(message);
    this.name = 'CannotAnalyse';
    this.next = next;
  }
}
