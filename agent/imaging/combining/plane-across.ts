/** A solved flat's gradient, peak to peak across the frame, as fractions of the gain. */
export interface PlaneAcross {
  /** How well it is known: one sigma. */
  readonly unsure: number;
  /** What two ways to tell it disagree by, if there are two; nothing where their own uncertainty explains it. */
  readonly disagreement?: { readonly value: number; readonly sigma: number };
}
