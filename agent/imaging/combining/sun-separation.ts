/** How well a flat solved from displaced frames tells the Sun from the rig. */
export interface SunSeparation {
  /** Rms of the Sun's structure that stays in the flat, share of the level; part of its sigma. */
  readonly unseparated: number;
  /** How much the Sun changed during the series, over the noise of a frame. */
  readonly sunChange: number;
}
