import type { Card } from "../../drivers/formats/fits-card.ts";
import { maskBits } from "../imaging/combining/mask-bits.ts";

/** Tells in the MASK extension itself what its bits mean. */
export const maskLegend: readonly Card[] = [
  { keyword: "COMMENT", value: "0: a pixel to be trusted; otherwise the sum of" },
  { keyword: "COMMENT", value: `${maskBits.unhealthy}: hot, dead, stuck, unsteady, or without a value` },
  { keyword: "COMMENT", value: `${maskBits.clipped}: clipped in more than one frame in fifty` },
  { keyword: "COMMENT", value: `${maskBits.unlit}: outside the lit field` },
  { keyword: "COMMENT", value: `${maskBits.rejected}: rejected in most frames` },
];
