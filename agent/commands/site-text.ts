import type { GroundSite } from "../sky/sun-from-site.ts";
import { wrongInput } from "./outcome.ts";

/** LAT,LON[,ELEV] in degrees, north and east positive, and metres. @param state that things are in if it is none. @throws CommandError */
export function readSite(text: string, state: string): GroundSite {
  const [latitudeDegrees, longitudeDegrees, elevationMetres = 0, ...more] = text
    .split(",")
    .map((part) => (part.trim() === "" ? Number.NaN : Number(part)));
  const within = (value: number | undefined, most: number, least = -most): value is number =>
    value !== undefined && value >= least && value <= most;
  if (
    more.length === 0 &&
    within(latitudeDegrees, 90) &&
    within(longitudeDegrees, 180) &&
    within(elevationMetres, 9000, -430)
  ) {
    return { latitudeDegrees, longitudeDegrees, elevationMetres };
  }
  throw wrongInput(
    state,
    `"${text}" is not a site.`,
    "Give latitude (-90 to 90, north positive), longitude (-180 to 180, east positive) and if you like the elevation in metres (-430 to 9000): 46.5,9.8,1720",
  );
}
