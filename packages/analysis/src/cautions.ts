/** Shown with every diagnosis: the usual ways in which testing a hovering aircraft hurts people. */
export const CAUTIONS: readonly string[] = [
  'Turning props cut. Work on the aircraft with the battery unplugged or the props off; stand well clear before arming.',
  'Test in the open, away from people, with room to land at once. Never hold a powered aircraft and never tether it to tune it: a tether changes what the loops feel and can tip the aircraft over.',
  'Be ready to cut the throttle. If an oscillation grows, land; do not try to fly it out.',
  'These numbers come from one log and can be wrong. Local rules and licensed practice come first.',
];
