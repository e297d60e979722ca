import type { FlightConfig } from './config.js';

export type Stage = 'idle' | 'spool' | 'fly' | 'land' | 'cut' | 'stopped';

/** Labels of the logged `mode` channel, and which one each stage shows. */
export const MODE_LABELS = ['idle', 'self-levelling', 'position hold', 'landing'] as const;

/** What the person (or the program) at the throttle sees at each controller step. */
export interface Seen {
  timeS: number;
  /** Of the lowest gear leg. */
  gearHeightM: number;
  /** Of the centre of mass above its place on the ground. */
  heightM: number;
  climbMS: number;
  /** Rotor lift over weight. */
  liftRatio: number;
  tiltRad: number;
  rateRadS: number;
}

/** Height above which the lowest gear leg counts as clear of the ground, m. */
export const CLEAR_HEIGHT_M = 0.15;
const STILL = { heightM: 0, climbMS: 0, accelMS2: 0 };

/** Beyond this tilt the flight has gone wrong. */
export const UPSET_RAD = Math.PI / 3;

/** Flies the script: decides the stage and the throttle. */
export class Script {
  stage: Stage;
  throttle: number;
  throttleUpS: number | null = null;
  clearS: number | null = null;
  upsetS: number | null = null;
  idleAgainS: number | null = null;
  finished = false;
  private readonly config: FlightConfig;
  private readonly stepS: number;
  private heightReference: number;
  private integral: number;
  private excessS: number | null = null;
  private landS = Number.POSITIVE_INFINITY;
  private contactS = 0;

  constructor(config: FlightConfig, hoverThrottle: number) {
    this.config = config;
    this.stepS = 1 / config.loopRateHz;
    const inHover = config.script.startInHover;
    this.stage = inHover ? 'fly' : 'idle';
    this.throttle = inHover ? hoverThrottle : config.rotors.idleCommand;
    this.integral = hoverThrottle;
    this.heightReference = inHover ? config.script.heightM : 0;
    if (inHover) {
      this.throttleUpS = 0;
      this.clearS = 0;
      this.landS = config.script.hoverS;
    }
  }

  /** Motors follow the controller (otherwise they idle or stand). */
  get controlled(): boolean {
    return this.stage === 'spool' || this.stage === 'fly' || this.stage === 'land';
  }

  step(seen: Seen): void {
    this.watch(seen);
    if (this.stage === 'idle') this.idle(seen);
    else if (this.stage === 'spool') this.spool(seen);
    else if (this.stage === 'fly' || this.stage === 'land') this.fly(seen);
    else this.cut(seen);
  }

  private watch(seen: Seen): void {
    const { script } = this.config;
    if (this.clearS === null && this.stage !== 'idle' && seen.gearHeightM > CLEAR_HEIGHT_M) {
      this.clearS = seen.timeS;
      this.landS = Math.min(this.landS, seen.timeS + script.hoverS);
    }
    const airborne = this.stage === 'fly' || this.stage === 'land' || this.stage === 'spool';
    if (airborne && this.upsetS === null && seen.tiltRad > UPSET_RAD) {
      this.upsetS = seen.timeS;
      // Nothing is saved by flying on: the motors are stopped.
      this.stage = 'cut';
      this.idleAgainS = null;
    }
    if (script.abort !== null && this.excessS === null && this.clearS !== null) {
      if (seen.rateRadS > script.abort.rateRadS || seen.tiltRad > script.abort.angleRad) {
        this.excessS = seen.timeS;
        this.landS = Math.min(this.landS, seen.timeS + script.abort.afterS);
      }
    }
  }

  private idle(seen: Seen): void {
    this.throttle = this.config.rotors.idleCommand;
    if (this.idleAgainS !== null) {
      if (seen.timeS - this.idleAgainS >= this.config.script.groundS) this.finished = true;
    } else if (seen.timeS >= this.config.script.groundS) {
      this.stage = 'spool';
      this.throttleUpS = seen.timeS;
    }
  }

  private spool(seen: Seen): void {
    const { rotors, script } = this.config;
    this.throttle += ((rotors.hoverThrottle - rotors.idleCommand) / script.spoolS) * this.stepS;
    this.throttle = Math.min(this.throttle, 0.95);
    if (seen.heightM > 0.03 && seen.climbMS > 0.05) {
      this.stage = 'fly';
      // The ramp has run ahead of the rotors by their lag, and the lift above the weight: back to where it hovers.
      const slope = (rotors.hoverThrottle - rotors.idleCommand) / script.spoolS;
      this.integral = (this.throttle - slope * rotors.lagS) / Math.max(1, seen.liftRatio);
      this.heightReference = seen.heightM;
    }
    // Never off the ground (tipping, or too weak): give up after a while.
    if (seen.timeS - this.throttleUpS! > script.spoolS * 4 + 4) this.stage = 'cut';
  }

  private fly(seen: Seen): void {
    const { script, rotors, pilot } = this.config;
    if (this.stage === 'fly' && seen.timeS >= this.landS) {
      if (script.endInHover) {
        this.finished = true;
        return;
      }
      this.stage = 'land';
      this.heightReference += this.heave(seen.timeS).heightM;
    }
    const hurried = this.excessS !== null;
    const climb =
      this.stage === 'land' ? -(hurried ? Math.max(script.descentMS, 1) : script.descentMS) : script.climbMS;
    const target = this.stage === 'land' ? -0.5 : script.heightM;
    const before = this.heightReference;
    this.heightReference =
      climb > 0
        ? Math.min(target, before + climb * this.stepS)
        : Math.max(target, before + climb * this.stepS);
    const asked = (this.heightReference - before) / this.stepS;
    const perMS2 = rotors.hoverThrottle / 9.80665;
    const w = pilot.heightRadS;
    const swing = this.stage === 'fly' ? this.heave(seen.timeS) : STILL;
    const error = this.heightReference + swing.heightM - seen.heightM;
    this.integral += perMS2 * 0.15 * w ** 3 * error * this.stepS;
    const accel = w * w * error + 1.6 * w * (asked + swing.climbMS - seen.climbMS) + swing.accelMS2;
    this.throttle = Math.min(0.95, Math.max(rotors.lowStop, this.integral + perMS2 * accel));
    this.contactS = seen.gearHeightM < 0.02 ? this.contactS + this.stepS : 0;
    if (this.stage === 'land' && this.contactS > 0.15) this.stage = 'cut';
  }

  /** Where the scripted swing of height is, from rest at the moment the aircraft came clear of the ground. */
  private heave(timeS: number): { heightM: number; climbMS: number; accelMS2: number } {
    const { heave } = this.config.script;
    if (heave === undefined || this.clearS === null) return STILL;
    const w = (2 * Math.PI) / heave.periodS;
    const phase = w * (timeS - this.clearS);
    return {
      heightM: (heave.climbMS / w) * (1 - Math.cos(phase)),
      climbMS: heave.climbMS * Math.sin(phase),
      accelMS2: heave.climbMS * w * Math.cos(phase),
    };
  }

  /** Mass over the mass the aircraft takes off with. */
  massFactor(timeS: number): number {
    const { load } = this.config.script;
    if (load === undefined || this.clearS === null) return 1;
    return 1 + load.share * Math.sin((2 * Math.PI * (timeS - this.clearS)) / load.periodS);
  }

  private cut(seen: Seen): void {
    const { rotors, script } = this.config;
    if (this.stage === 'stopped') return;
    if (this.upsetS !== null) {
      this.throttle = 0;
      if (seen.timeS - this.upsetS > 2) this.finished = true;
      this.idleAgainS ??= seen.timeS;
      return;
    }
    this.throttle = Math.max(rotors.idleCommand, this.throttle - (rotors.hoverThrottle / 0.4) * this.stepS);
    if (this.throttle <= rotors.idleCommand) {
      this.idleAgainS = seen.timeS;
      this.stage = 'idle';
      if (script.groundS <= 0) this.finished = true;
    }
  }
}
