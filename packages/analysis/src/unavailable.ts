/** Why something cannot be given, and what to log or fly to get it. */
export interface Unavailable {
  readonly unavailable: string;
}

export function isUnavailable(value: object): value is Unavailable {
  return 'unavailable' in value;
}
