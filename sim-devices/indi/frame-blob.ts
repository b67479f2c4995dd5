import { deflateSync } from "node:zlib";
import { AstroTime, RotateVector, Rotation_EQD_EQJ, Vector } from "astronomy-engine";
import type { Card } from "../../drivers/formats/fits-card.ts";
import { encodeFits, utcText } from "../../drivers/formats/fits-write.ts";
import { given } from "../../drivers/kit/given.ts";
import type { RawFrame } from "../scene/mechanics/camera.ts";
import { airMass } from "../scene/sun/sky-light.ts";
import { altitudeDegrees, type Direction, modulo, type Site, siderealHours } from "../scene/sun/sun-place.ts";

/** What a camera driver knows of the rig when it writes a header. Missing facts are missing cards. */
export interface HeaderFacts {
  readonly camera: string;
  readonly telescope?: string | undefined;
  readonly pixelMicron: number;
  readonly bits: number;
  readonly focalLengthMm: number;
  readonly apertureMm: number;
  readonly filterName?: string | undefined;
  readonly focusSteps?: number | undefined;
  readonly rotatorDegrees?: number | undefined;
  readonly site?: Site | undefined;
  /** Of date, as the mount reports it. */
  readonly pointing?: Direction | undefined;
  /** Of a camera behind one, from the sensor's first pixel whatever the region. */
  readonly filterArray?: string | undefined;
  readonly extra: readonly Card[];
}

export interface EncodedFrame {
  readonly format: string;
  /** Bytes before compression. */
  readonly size: number;
  readonly payload: Uint8Array;
}

const frameNames = { light: "Light", dark: "Dark", bias: "Bias", flat: "Flat" } as const;

/** A frame as the driver sends it: FITS, or its bare little-endian words; deflated on demand. */
export function encodeFrame(
  frame: RawFrame,
  facts: HeaderFacts,
  how: { readonly transfer: "fits" | "native"; readonly compress: boolean; readonly nowUtcMs: number },
): EncodedFrame {
  const words = facts.bits === 8 ? new Uint8Array(frame.pixelsAdu) : frame.pixelsAdu;
  const bytes =
    how.transfer === "fits"
      ? encodeFits(
          [{ pixels: words, shape: [frame.heightPx, frame.widthPx], cards: cardsOf(frame, facts) }],
          how.nowUtcMs,
        )
      : new Uint8Array(words.buffer, words.byteOffset, words.byteLength);
  const extension = how.transfer === "fits" ? ".fits" : ".bin";
  if (!how.compress) return { format: extension, size: bytes.length, payload: bytes };
  return { format: `${extension}.z`, size: bytes.length, payload: deflateSync(bytes, { level: 1 }) };
}

/** One line of base64 as bytes. */
export function base64Bytes(payload: Uint8Array): Uint8Array {
  const view = Buffer.from(payload.buffer, payload.byteOffset, payload.byteLength);
  return Buffer.from(view.toString("base64"), "latin1");
}

function cardsOf(frame: RawFrame, facts: HeaderFacts): Card[] {
  const { ask } = frame;
  const kind = frameNames[ask.frameType];
  const binned = facts.pixelMicron * ask.binning;
  const scale = round((binned / facts.focalLengthMm) * 206.264806, 6);
  return [
    { keyword: "ROWORDER", value: "TOP-DOWN", comment: "first row is the top one" },
    { keyword: "INSTRUME", value: facts.camera },
    ...optional("TELESCOP", facts.telescope),
    { keyword: "EXPTIME", value: ask.seconds, comment: "[s] exposure" },
    { keyword: "CCD-TEMP", value: round(ask.sensorCelsius, 2), comment: "[degC] sensor" },
    { keyword: "PIXSIZE1", value: facts.pixelMicron, comment: "[um]" },
    { keyword: "PIXSIZE2", value: facts.pixelMicron, comment: "[um]" },
    { keyword: "XBINNING", value: ask.binning },
    { keyword: "YBINNING", value: ask.binning },
    { keyword: "XPIXSZ", value: binned, comment: "[um] binned" },
    { keyword: "YPIXSZ", value: binned, comment: "[um] binned" },
    { keyword: "XORGSUBF", value: ask.region.xPx, comment: "[px] of the region, unbinned" },
    { keyword: "YORGSUBF", value: ask.region.yPx, comment: "[px] of the region, unbinned" },
    { keyword: "FRAME", value: kind },
    { keyword: "IMAGETYP", value: `${kind} Frame` },
    ...optional("FILTER", facts.filterName),
    ...(facts.filterArray === undefined
      ? []
      : [
          { keyword: "XBAYROFF", value: 0 },
          { keyword: "YBAYROFF", value: 0 },
          { keyword: "BAYERPAT", value: facts.filterArray },
        ]),
    { keyword: "FOCALLEN", value: facts.focalLengthMm, comment: "[mm]" },
    { keyword: "APTDIA", value: facts.apertureMm, comment: "[mm]" },
    { keyword: "SCALE", value: scale, comment: "[arcsec/px]" },
    ...optional("ROTATANG", facts.rotatorDegrees),
    ...optional("FOCUSPOS", facts.focusSteps),
    ...skyCards(frame.startedUtcMs, facts),
    { keyword: "DATE-OBS", value: utcText(frame.startedUtcMs), comment: "UTC start of the exposure" },
    { keyword: "GAIN", value: ask.gain },
    { keyword: "OFFSET", value: ask.offset },
    ...facts.extra,
  ];
}

function optional(keyword: string, value: string | number | undefined, comment?: string): Card[] {
  return value === undefined ? [] : [{ keyword, value, ...given({ comment }) }];
}

function round(value: number, digits: number): number {
  return Number(value.toFixed(digits));
}

/** Site and pointing, the latter in J2000 as the library writes it. */
function skyCards(utcMs: number, { site, pointing }: HeaderFacts): Card[] {
  const siteCards = [
    ...optional("SITELAT", site?.latitudeDegrees),
    ...optional("SITELONG", site?.longitudeDegrees),
  ];
  if (!pointing) return siteCards;
  const hourAngle = (at: Site) => (siderealHours(at, utcMs) - pointing.raHours) * 15;
  const altitude = site && altitudeDegrees(site, hourAngle(site), pointing.decDegrees);
  const j2000 = toJ2000(pointing, utcMs);
  return [
    ...siteCards,
    ...(altitude !== undefined && altitude > 1 ? optional("AIRMASS", round(airMass(altitude), 6)) : []),
    ...optional("OBJCTALT", altitude && round(altitude, 6), "[deg]"),
    { keyword: "OBJCTRA", value: sexagesimal(j2000.raHours), comment: "[h m s] J2000" },
    { keyword: "OBJCTDEC", value: sexagesimal(j2000.decDegrees), comment: "[d m s] J2000" },
    { keyword: "RA", value: round(j2000.raHours * 15, 7), comment: "[deg] J2000" },
    { keyword: "DEC", value: round(j2000.decDegrees, 7), comment: "[deg] J2000" },
    { keyword: "EQUINOX", value: 2000 },
  ];
}

function toJ2000(place: Direction, utcMs: number): Direction {
  const time = new AstroTime(new Date(utcMs));
  const ra = (place.raHours * Math.PI) / 12;
  const dec = (place.decDegrees * Math.PI) / 180;
  const ofDate = new Vector(Math.cos(dec) * Math.cos(ra), Math.cos(dec) * Math.sin(ra), Math.sin(dec), time);
  const v = RotateVector(Rotation_EQD_EQJ(time), ofDate);
  return {
    raHours: modulo((Math.atan2(v.y, v.x) * 12) / Math.PI, 24),
    decDegrees: (Math.atan2(v.z, Math.hypot(v.x, v.y)) * 180) / Math.PI,
  };
}

function sexagesimal(value: number): string {
  const hundredths = Math.round(Math.abs(value) * 360_000);
  const two = (n: number) => String(n).padStart(2, "0");
  const whole = Math.floor(hundredths / 360_000);
  const minutes = Math.floor(hundredths / 6000) % 60;
  const seconds = ((hundredths % 6000) / 100).toFixed(2).padStart(5, "0");
  return `${value < 0 ? "-" : ""}${two(whole)} ${two(minutes)} ${seconds}`;
}
