import { mkdirSync } from "node:fs";
import { dirname } from "node:path";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { SkyFiles } from "./sky-files.ts";

const utc = (minute: number) => new Date(Date.UTC(2026, 6, 14, 9, minute)).toISOString().slice(0, 19);

interface Setting {
  readonly kind: string | undefined;
  readonly seconds: number;
  readonly gain: number;
  readonly minute: number;
}

const cardsOf = ({ kind, seconds, gain, minute }: Setting): Card[] => [
  ...(kind === undefined ? [] : [{ keyword: "IMAGETYP", value: kind }]),
  { keyword: "EXPTIME", value: seconds },
  { keyword: "GAIN", value: gain },
  { keyword: "DATE-OBS", value: utc(minute) },
];

const bias = 300;
/** [adu/s] */
const darkRate = (x: number, y: number) => ((x * 7 + y * 13) % 50 === 0 ? 400 : 20);
const darkLevel = (seconds: number) => (x: number, y: number) => bias + seconds * darkRate(x, y);

/** A night of five kinds and two gains; the darks of gain 2 are of another exposure than its images. */
export function writeNight(sky: SkyFiles): string {
  const write = (name: string, level: (x: number, y: number) => number, setting: Setting) => {
    mkdirSync(dirname(sky.path(name)), { recursive: true });
    return sky.write(name, level, { noise: 4, cards: cardsOf(setting) });
  };
  const lit = (seconds: number, level: number) => (x: number, y: number) =>
    darkLevel(seconds)(x, y) + level * sky.gain(x, y);
  for (let k = 0; k < 4; k++) {
    for (const gain of [1, 2]) {
      const at = { gain, minute: k };
      write(`night/b/bias-${gain}-${k}.fits`, () => bias, { kind: "Bias", seconds: 0, ...at });
      write(`night/d/dark-${gain}-${k}.fits`, darkLevel(2), { kind: "Dark", seconds: 2, ...at });
      write(`night/f/flat-${gain}-${k}.fits`, lit(2, 50_000), { kind: "Flat", seconds: 2, ...at });
    }
    write(`night/sun/one-${k}.fits`, lit(2, 20_000), { kind: "Light", seconds: 2, gain: 1, minute: 20 + k });
    write(`night/sun/two-${k}.fits`, lit(1, 9000), { kind: "Light", seconds: 1, gain: 2, minute: 20 + k });
  }
  // Of a gain that no dark has.
  write("night/sun/odd.fits", lit(1, 9000), { kind: "Light", seconds: 1, gain: 7, minute: 30 });
  // Says nothing of itself and could be a flat or a close picture of the Sun.
  write("night/odd/a.fits", lit(1, 30_000), { kind: undefined, seconds: 1, gain: 1, minute: 31 });
  // Says dark, and there is light in it.
  write("night/d/open.fits", lit(1, 30_000), { kind: "Dark", seconds: 2, gain: 1, minute: 5 });
  return sky.path("night");
}
