/** One geared axis: the motor turns, and the tube follows once the play is taken up. */
export class Axis {
  /** What the encoder on the motor says. */
  motorDegrees: number;
  /** Where the tube is. */
  tubeDegrees: number;

  constructor(
    startDegrees: number,
    readonly playDegrees: number,
  ) {
    this.motorDegrees = startDegrees;
    this.tubeDegrees = startDegrees;
  }

  turn(byDegrees: number): void {
    this.motorDegrees += byDegrees;
    this.tubeDegrees = Math.min(
      this.motorDegrees,
      Math.max(this.motorDegrees - this.playDegrees, this.tubeDegrees),
    );
  }
}
