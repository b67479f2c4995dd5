import type { SkyPlace } from "./tangent-plane.ts";

const degrees = Math.PI / 180;

/** Angle between two directions on the sky [degrees]; haversine form, exact for small angles too. */
export function separationDegrees(a: SkyPlace, b: SkyPlace): number {
  const dec1 = a.decDegrees * degrees;
  const dec2 = b.decDegrees * degrees;
  const halfRa = ((a.raHours - b.raHours) * 15 * degrees) / 2;
  const halfDec = (dec1 - dec2) / 2;
  const square = Math.sin(halfDec) ** 2 + Math.cos(dec1) * Math.cos(dec2) * Math.sin(halfRa) ** 2;
  return (2 * Math.asin(Math.min(1, Math.sqrt(square)))) / degrees;
}
