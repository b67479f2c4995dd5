import * as z from "zod";
import { atLeastZero, fraction, positive } from "./spec-numbers.ts";

/** Light that has gone back and forth between surfaces and comes to the sensor as a soft round spot. */
export const ghost = z.strictObject({
  /** Its level over that of the disc's centre, or of the even light. */
  share: fraction,
  /** How far it moves when the Sun's picture moves by 1: with it 1, standing 0, mirrored -1. */
  motion: z.number().min(-2).max(2),
  /** Its middle with the Sun in the middle of the sensor. */
  xPx: z.number(),
  yPx: z.number(),
  radiusPx: positive,
  /** Over this width its edge falls from full level to none. */
  edgePx: atLeastZero,
});
