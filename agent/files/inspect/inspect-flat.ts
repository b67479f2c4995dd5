import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import type { RadialProfile } from "../../imaging/disc/radial-profile.ts";
import type { DustFound } from "../../imaging/dust/dust.ts";
import type { FftLibrary } from "../../imaging/numerics/fft-library.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import type { FlatShape } from "../../imaging/proof/flat-shape.ts";
import { type FringeOrigin, fringeOrigin } from "../../imaging/proof/fringe-origin.ts";
import type { FringeSearch } from "../../imaging/proof/fringes.ts";
import { fringeLight, judgeMaster, type ProofFacts } from "../../imaging/proof/judge-master.ts";
import type { LeftoverSun } from "../../imaging/proof/leftover-sun.ts";
import type { Photons } from "../../imaging/proof/photon-limit.ts";
import { seriesFigures } from "../../imaging/proof/proof.ts";
import { judgeFigure } from "../../imaging/proof/proof-figure.ts";
import { readFigures } from "../../masters/master-cards.ts";
import { combinedCount } from "../frame-kind.ts";
import { InputError } from "../input-error.ts";
import { type LightOfFiles, type LooksAsked, lightFindings, lightOfFiles } from "./inspect-light.ts";
import {
  type InspectionFigures,
  type Picture,
  type PlainFigure,
  readAsFlat,
  readPicture,
} from "./inspected-picture.ts";

export interface OpticsAsked {
  readonly focalRatio?: number;
  readonly pixelMicron?: number;
  readonly wavelengthNm?: number;
  readonly bandwidthAngstrom?: number;
}

/** Lists and curves behind a flat's figures. */
export interface FlatDetails {
  readonly dust: readonly DustFound[];
  readonly radial: RadialProfile;
  readonly shape?: FlatShape;
  readonly fringes: FringeSearch;
  readonly leftoverSun?: LeftoverSun;
}

/**
 * What a flat shows of its rig.
 * @param sunFile a picture of the Sun without blur, whose structure is looked for in the flat
 * @throws InputError if that can't be read or is of another size
 */
export function flatFindings(
  picture: Picture,
  fft: FftLibrary,
  options: OpticsAsked & LooksAsked & { readonly sunFile?: string },
): InspectionFigures & { readonly flatDetails?: FlatDetails; readonly seen?: LightOfFiles | undefined } {
  const flat = readAsFlat(picture);
  if (flat === undefined) return { figures: [judgeFigure("trusted", 0)], measures: [] };
  const known = knownOf(picture, options);
  const verdict = judgeMaster(flat, { ...known, fft, ...sunOf(flat, options.sunFile) });
  const { shape, dust, radial, leftoverSun: leftover, photonLimit: limit, noise = 0 } = verdict;
  const fringes = verdict.fringes!;
  const stripes = fringeLight(known);
  const seen = lightOfFiles(flat, options, fft);
  const told = lightFindings(seen?.light, picture.header);
  return {
    figures: [...seriesFigures(readFigures(picture.header)), ...told.figures, ...verdict.figures],
    measures: [
      ...(picture.isMaster ? [] : [percentFigure("noise of a pixel", noise)]),
      ...(limit === undefined ? [] : [percentFigure("photon limit", limit)]),
      ...(shape
        ? [
            percentFigure(
              "gradient, vignetting in it, peak to peak",
              shape.gradientPeakToPeak,
              shape.gradientSigma,
            ),
            { name: "gradient rises towards", value: shape.gradientDegrees, unit: "deg" } as const,
          ]
        : []),
      ...radialMeasures(radial),
      { name: "dust shadows", value: dust.length, unit: "" },
      ...told.measures,
      ...(fringes.found ? fringeMeasures(fringes.found) : []),
      ...(fringes.found && stripes ? originMeasures(fringeOrigin(fringes.found.periodPx, stripes)) : []),
    ],
    seen,
    flatDetails: {
      dust,
      radial,
      fringes,
      ...(shape ? { shape } : {}),
      ...(leftover ? { leftoverSun: leftover } : {}),
    },
  };
}

/** Something that one file can't tell, with what would. */
export interface NotJudged {
  readonly id: "photonLimit" | "constancy" | "leftoverSun";
  readonly text: string;
}

export function notJudgedOf(picture: Picture, sunFile: string | undefined): NotJudged[] {
  const { evenOdd, driftRms } = readFigures(picture.header);
  const all: (NotJudged & { readonly isMissing: boolean })[] = [
    {
      id: "photonLimit",
      isMissing: !picture.isMaster,
      text: "noise against what photons allow: one frame can't tell it from the pixels' own response; name two",
    },
    {
      id: "constancy",
      isMissing: evenOdd === undefined || driftRms === undefined,
      text: "whether light and dust stayed as they were (cloud, moved dust): name two flats or more of one setting",
    },
    {
      id: "leftoverSun",
      isMissing: sunFile === undefined && driftRms === undefined,
      text: "structure of the Sun left in it: name a picture of the Sun with --sun",
    },
  ];
  return all.filter(({ isMissing }) => isMissing).map(({ id, text }) => ({ id, text }));
}

function percentFigure(name: string, fraction: number, sigma?: number): PlainFigure {
  return { name, value: 100 * fraction, ...(sigma === undefined ? {} : { sigma: 100 * sigma }), unit: "%" };
}

function fringeMeasures(found: NonNullable<FringeSearch["found"]>): PlainFigure[] {
  const { periodPx, periodSigmaPx, degrees, degreesSigma, significance } = found;
  return [
    { name: "fringe period", value: periodPx, sigma: periodSigmaPx, unit: "px" },
    { name: "fringe direction", value: degrees, sigma: degreesSigma, unit: "deg" },
    { name: "fringe significance", value: significance, unit: "" },
  ];
}

function originMeasures(origin: FringeOrigin): PlainFigure[] {
  const { spacingMm, airWedgeArcmin, glassWedgeArcmin, glassMmMost } = origin;
  return [
    { name: "fringe period on the sensor", value: spacingMm, unit: "mm" },
    { name: "angle between faces with air between", value: airWedgeArcmin, unit: "arcmin" },
    { name: "or wedge in glass", value: glassWedgeArcmin, unit: "arcmin" },
    ...(glassMmMost === undefined
      ? []
      : [{ name: "no thicker than", value: glassMmMost, unit: "mm" } as const]),
  ];
}

/** Level at the rim of the field, and half-way, over that in the middle. */
function radialMeasures({ rings }: RadialProfile): PlainFigure[] {
  const middle = rings[0];
  const last = rings.at(-1);
  if (!middle || !last || rings.length < 8) return [];
  const half = rings[Math.floor(rings.length / 2)]!;
  return [["half-way", half] as const, ["farthest", last] as const].map(([where, ring]) => ({
    name: `level ${where} from the light's centre, ${ring.radiusPx.toFixed(0)} px`,
    value: (100 * ring.median) / middle.median,
    sigma: (125 * ring.sigma) / Math.sqrt(ring.pixels) / middle.median,
    unit: "%",
  }));
}

/** From what was asked, else from the header. */
function knownOf(picture: Picture, asked: OpticsAsked): ProofFacts {
  const { header, isMaster } = picture;
  const [focal, aperture] = [header.number("FOCALLEN"), header.number("APTDIA")];
  const unbinned = header.number("PIXSIZE");
  const all = {
    focalRatio: asked.focalRatio ?? (focal && aperture ? focal / aperture : undefined),
    pixelMicron:
      asked.pixelMicron ??
      header.number("XPIXSZ") ??
      (unbinned === undefined ? undefined : unbinned * (header.number("XBINNING") ?? 1)),
    wavelengthNm: asked.wavelengthNm ?? header.number("WAVELEN"),
    bandwidthAngstrom: asked.bandwidthAngstrom,
    photons: photonsOf(picture),
    isSingle: !isMaster,
  };
  return Object.fromEntries(Object.entries(all).filter(([, value]) => value !== undefined)) as ProofFacts;
}

/** Where the header tells electrons per adu, and the level that was made 1. */
export function photonsOf({ header, values }: Picture): Photons | undefined {
  const electronsPerAdu = header.number("EGAIN");
  if (electronsPerAdu === undefined || !(electronsPerAdu > 0)) return undefined;
  const levelAdu =
    header.number("FLATLEVL") ?? (header.text("BUNIT")?.trim() === "" ? undefined : median(values));
  if (levelAdu === undefined || !(levelAdu > 1)) return undefined;
  const darkNoiseElectrons = header.number("RDNOISE") ?? 0;
  return { levelAdu, electronsPerAdu, darkNoiseElectrons, frameCount: combinedCount(header) };
}

function sunOf(flat: Flat, sunFile: string | undefined): Pick<ProofFacts, "sunAdu"> {
  if (sunFile === undefined) return {};
  const { picture } = readPicture(sunFile);
  const { widthPx, heightPx } = flat.shape;
  if (picture.widthPx !== widthPx || picture.heightPx !== heightPx)
    throw new InputError(
      `${sunFile} is ${picture.widthPx} x ${picture.heightPx} px and the flat ${widthPx} x ${heightPx}.`,
      "Name a picture of the Sun of the same binning and region.",
    );
  return { sunAdu: picture.values };
}
