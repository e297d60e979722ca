import type { FlightConfig } from './config.js';
import { GRAVITY } from './operating-point.js';

/** Static sink of the gear under the weight, m; sets the stiffness of the legs. */
const GEAR_SINK_M = 0.004;
const GROUND_FRICTION = 0.7;

/**
 * The rigid body: full rotation (Euler's equations, quaternion attitude), translation and ground contact at the four
 * gear feet and, should it fall over, at the four rotor hubs.
 *
 * World axes: north, east, down with the ground at zero; body axes x forward, y right, z down.
 */
export class Body {
  /** Body rates p, q, r in rad/s. */
  readonly rate = new Float64Array(3);
  /** Euler angles roll, pitch, yaw in rad, yaw and roll unwrapped. */
  readonly angles = new Float64Array(3);
  readonly position = new Float64Array(3);
  readonly velocity = new Float64Array(3);
  /** Specific force over the last step, body axes, m/s²: what an accelerometer feels. */
  readonly specificForce = new Float64Array(3);
  /** Height of the lowest gear foot, m. */
  gearHeightM = 0;
  tiltRad = 0;
  private q0 = 1;
  private q1 = 0;
  private q2 = 0;
  private q3 = 0;
  private readonly feet: readonly (readonly [number, number, number])[];
  private readonly hubs: readonly (readonly [number, number, number])[];
  private readonly contactForce = new Float64Array(3);
  private readonly contactTorque = new Float64Array(3);
  private readonly restHeightM: number;
  private readonly reachM: number;
  private readonly config: FlightConfig;
  private readonly rotation = new Float64Array(9);

  constructor(config: FlightConfig, heightM: number) {
    this.config = config;
    const { x, y, heightM: legs } = config.airframe.gear;
    const corners = [
      [x, y],
      [x, -y],
      [-x, y],
      [-x, -y],
    ] as const;
    this.feet = corners.map(([cx, cy]) => [cx, cy, legs] as const);
    this.hubs = corners.map(([cx, cy]) => [1.3 * cx, 1.3 * cy, -0.05] as const);
    this.restHeightM = legs - GEAR_SINK_M;
    this.reachM = Math.hypot(1.3 * x, 1.3 * y, legs) + 0.05;
    this.position[2] = -(this.restHeightM + heightM);
    // Level and carried, by the ground or the rotors.
    this.specificForce[2] = -GRAVITY;
    this.updateAttitude();
  }

  /** Height of the centre of mass above its place at rest on the ground, m. */
  get heightM(): number {
    return -this.position[2]! - this.restHeightM;
  }

  get climbMS(): number {
    return -this.velocity[2]!;
  }

  /**
   * Moves on by `h` seconds.
   *
   * @param accel angular acceleration from rotors, wind and aerodynamics, mean over the step, rad/s²
   * @param lift rotor thrust over mass, m/s²
   * @param north horizontal push of the wind over mass, m/s²
   * @param east same
   */
  step(h: number, accel: Float64Array, lift: number, north: number, east: number): void {
    const { inertia, massKg, dragPerS, damping, instability } = this.config.airframe;
    const { rate, velocity, position, rotation: r } = this;
    this.contact();
    const p = rate[0]!;
    const q = rate[1]!;
    const yawRate = rate[2]!;
    const roll = this.angles[0]!;
    const pitch = this.angles[1]!;
    const pAccel =
      accel[0]! +
      ((inertia.y - inertia.z) / inertia.x) * q * yawRate +
      this.contactTorque[0]! / inertia.x +
      instability.roll * Math.sin(roll);
    const qAccel =
      accel[1]! +
      ((inertia.z - inertia.x) / inertia.y) * p * yawRate +
      this.contactTorque[1]! / inertia.y +
      instability.pitch * Math.sin(pitch);
    const rAccel =
      accel[2]! + ((inertia.x - inertia.y) / inertia.z) * p * q + this.contactTorque[2]! / inertia.z;
    // Damping taken at the middle of the step, so that small motion follows the linear loop closely.
    const newP = (p * (1 - (damping.roll * h) / 2) + h * pAccel) / (1 + (damping.roll * h) / 2);
    const newQ = (q * (1 - (damping.pitch * h) / 2) + h * qAccel) / (1 + (damping.pitch * h) / 2);
    const newR = (yawRate * (1 - (damping.yaw * h) / 2) + h * rAccel) / (1 + (damping.yaw * h) / 2);
    const before2 = r[2]!;
    const before5 = r[5]!;
    const before8 = r[8]!;
    this.turn(h, (p + newP) / 2, (q + newQ) / 2, (yawRate + newR) / 2);
    rate[0] = newP;
    rate[1] = newQ;
    rate[2] = newR;
    this.updateAttitude();

    // Forces over mass in world axes; the accelerometer feels all of them but gravity.
    const fx =
      (-(before2 + r[2]!) / 2) * lift - dragPerS * velocity[0]! + north + this.contactForce[0]! / massKg;
    const fy =
      (-(before5 + r[5]!) / 2) * lift - dragPerS * velocity[1]! + east + this.contactForce[1]! / massKg;
    const fz = (-(before8 + r[8]!) / 2) * lift - dragPerS * velocity[2]! + this.contactForce[2]! / massKg;
    this.specificForce[0] = r[0]! * fx + r[3]! * fy + r[6]! * fz;
    this.specificForce[1] = r[1]! * fx + r[4]! * fy + r[7]! * fz;
    this.specificForce[2] = r[2]! * fx + r[5]! * fy + r[8]! * fz;
    position[0] = position[0]! + h * (velocity[0]! + (h * fx) / 2);
    position[1] = position[1]! + h * (velocity[1]! + (h * fy) / 2);
    position[2] = position[2]! + h * (velocity[2]! + (h * (fz + GRAVITY)) / 2);
    velocity[0] = velocity[0]! + h * fx;
    velocity[1] = velocity[1]! + h * fy;
    velocity[2] = velocity[2]! + h * (fz + GRAVITY);
    this.updateHeight();
  }

  private turn(h: number, p: number, q: number, r: number): void {
    const { q0, q1, q2, q3 } = this;
    const half = h / 2;
    const n0 = q0 + half * (-q1 * p - q2 * q - q3 * r);
    const n1 = q1 + half * (q0 * p + q2 * r - q3 * q);
    const n2 = q2 + half * (q0 * q + q3 * p - q1 * r);
    const n3 = q3 + half * (q0 * r + q1 * q - q2 * p);
    const norm = 1 / Math.sqrt(n0 * n0 + n1 * n1 + n2 * n2 + n3 * n3);
    this.q0 = n0 * norm;
    this.q1 = n1 * norm;
    this.q2 = n2 * norm;
    this.q3 = n3 * norm;
  }

  private updateAttitude(): void {
    const { q0, q1, q2, q3, rotation: r } = this;
    r[0] = 1 - 2 * (q2 * q2 + q3 * q3);
    r[1] = 2 * (q1 * q2 - q0 * q3);
    r[2] = 2 * (q1 * q3 + q0 * q2);
    r[3] = 2 * (q1 * q2 + q0 * q3);
    r[4] = 1 - 2 * (q1 * q1 + q3 * q3);
    r[5] = 2 * (q2 * q3 - q0 * q1);
    r[6] = 2 * (q1 * q3 - q0 * q2);
    r[7] = 2 * (q2 * q3 + q0 * q1);
    r[8] = 1 - 2 * (q1 * q1 + q2 * q2);
    this.angles[0] = unwrapTo(this.angles[0]!, Math.atan2(r[7], r[8]));
    this.angles[1] = Math.asin(Math.max(-1, Math.min(1, -r[6])));
    this.angles[2] = unwrapTo(this.angles[2]!, Math.atan2(r[3], r[0]));
    this.tiltRad = Math.acos(Math.max(-1, Math.min(1, r[8])));
    this.updateHeight();
  }

  private updateHeight(): void {
    const r = this.rotation;
    const cm = -this.position[2]!;
    const { x, y, heightM } = this.config.airframe.gear;
    this.gearHeightM = cm - heightM * r[8]! - x * Math.abs(r[6]!) - y * Math.abs(r[7]!);
  }

  private contact(): void {
    const { contactForce: force, contactTorque: torque } = this;
    force.fill(0);
    torque.fill(0);
    if (-this.position[2]! > this.reachM) return;
    for (const point of this.feet) this.touch(point);
    if (this.tiltRad > 0.5) for (const point of this.hubs) this.touch(point);
  }

  /** Spring, damper and regularised Coulomb friction at one point of the body. */
  private touch(point: readonly [number, number, number]): void {
    const { rotation: r, velocity, rate } = this;
    const [x, y, z] = point;
    const below = this.position[2]! + r[6]! * x + r[7]! * y + r[8]! * z;
    if (below <= 0) return;
    // Velocity of the point: body rates cross its arm, turned into world axes.
    const bx = rate[1]! * z - rate[2]! * y;
    const by = rate[2]! * x - rate[0]! * z;
    const bz = rate[0]! * y - rate[1]! * x;
    const vx = velocity[0]! + r[0]! * bx + r[1]! * by + r[2]! * bz;
    const vy = velocity[1]! + r[3]! * bx + r[4]! * by + r[5]! * bz;
    const vz = velocity[2]! + r[6]! * bx + r[7]! * by + r[8]! * bz;
    const weight = this.config.airframe.massKg * GRAVITY;
    const stiffness = weight / (4 * GEAR_SINK_M);
    const damping = 0.8 * Math.sqrt(stiffness * this.config.airframe.massKg);
    const normal = Math.max(0, stiffness * below + damping * vz);
    const slide = Math.hypot(vx, vy);
    const grip = slide > 0 ? (GROUND_FRICTION * normal * Math.tanh(slide / 0.05)) / slide : 0;
    const fx = -grip * vx;
    const fy = -grip * vy;
    const fz = -normal;
    this.contactForce[0] = this.contactForce[0]! + fx;
    this.contactForce[1] = this.contactForce[1]! + fy;
    this.contactForce[2] = this.contactForce[2]! + fz;
    const gx = r[0]! * fx + r[3]! * fy + r[6]! * fz;
    const gy = r[1]! * fx + r[4]! * fy + r[7]! * fz;
    const gz = r[2]! * fx + r[5]! * fy + r[8]! * fz;
    this.contactTorque[0] = this.contactTorque[0]! + y * gz - z * gy;
    this.contactTorque[1] = this.contactTorque[1]! + z * gx - x * gz;
    this.contactTorque[2] = this.contactTorque[2]! + x * gy - y * gx;
  }
}

/** The angle equal to `wrapped` modulo one turn that lies nearest to `previous`. */
function unwrapTo(previous: number, wrapped: number): number {
  return wrapped + 2 * Math.PI * Math.round((previous - wrapped) / (2 * Math.PI));
}
