import type { FitsHeader } from "../../drivers/formats/fits-header.ts";
import { type Flat, relativeNoise } from "../imaging/combining/normalise-flat.ts";
import { type RadialProfile, radialProfile } from "../imaging/disc/radial-profile.ts";
import { type DustFound, type DustOptions, findDust } from "../imaging/dust/dust.ts";
import { signalElectrons, varianceAdu2 } from "../imaging/noise/sensor-model.ts";
import type { FftLibrary } from "../imaging/numerics/fft.ts";
import { median } from "../imaging/numerics/order-statistics.ts";
import { type FlatShape, flatShape, trusted } from "../imaging/proof/flat-shape.ts";
import { type FringeLight, type FringeOrigin, fringeOrigin } from "../imaging/proof/fringe-origin.ts";
import { type FringeSearch, findFringes } from "../imaging/proof/fringes.ts";
import { type LeftoverSun, leftoverSun } from "../imaging/proof/leftover-sun.ts";
import { judgeFringes } from "../imaging/proof/proof.ts";
import { judge } from "../imaging/proof/proof-figure.ts";
import { combinedCount } from "./frame-kind.ts";
import { InputError } from "./input-error.ts";
import { asFlat, type Findings, type Measure, type Picture, readPicture } from "./inspected-picture.ts";

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
  options: OpticsAsked & { readonly sunFile?: string },
): Findings & { readonly flatDetails?: FlatDetails } {
  const flat = asFlat(picture);
  if (flat === undefined) return { figures: [judge("upperEdge", 0)], measures: [] };
  const noise = relativeNoise(flat) ?? 0;
  const shape = flatShape(flat);
  const dust = findDust(flat, opticsOf(picture.header, options));
  const light = lightOf(picture.header, options);
  const fringes = findFringes(fft, flat.gain, trusted(flat), flat.shape);
  const radial = radialProfile(flat);
  const leftover = options.sunFile === undefined ? undefined : leftOverOf(flat, options.sunFile);
  const deepest = dust.toSorted((a, b) => b.depth - a.depth)[0];
  const limit = photonLimit(picture, flat);
  return {
    figures: [
      ...(picture.isMaster ? [judge("noise", noise)] : []),
      ...(limit === undefined ? [] : [judge("photonLimit", noise / limit)]),
      ...(shape
        ? [
            judge("corner", shape.cornerOverCentre, shape.cornerOverCentreSigma),
            judge("gradient", shape.gradientPeakToPeak, shape.gradientSigma),
            judge("hotSpot", shape.hotSpot?.excess ?? 0, shape.hotSpot?.sigma ?? 0.01 / 3),
          ]
        : []),
      judge("dust", deepest?.depth ?? 0, deepest?.depthSigma),
      judgeFringes(fringes, light),
      ...(leftover
        ? [judge("leftoverSun", leftover.rms > 3 * leftover.rmsSigma ? leftover.rms : 0, leftover.rmsSigma)]
        : []),
    ],
    measures: [
      ...(picture.isMaster ? [] : [{ name: "noise of a pixel", value: 100 * noise, unit: "%" } as const]),
      ...(limit === undefined ? [] : [{ name: "photon limit", value: 100 * limit, unit: "%" } as const]),
      ...(shape
        ? [{ name: "gradient rises towards", value: shape.gradientDegrees, unit: "deg" } as const]
        : []),
      ...radialMeasures(radial),
      { name: "dust shadows", value: dust.length, unit: "" },
      ...(fringes.found
        ? ([
            {
              name: "fringe period",
              value: fringes.found.periodPx,
              sigma: fringes.found.periodSigmaPx,
              unit: "px",
            },
            {
              name: "fringe direction",
              value: fringes.found.degrees,
              sigma: fringes.found.degreesSigma,
              unit: "deg",
            },
            { name: "fringe significance", value: fringes.found.significance, unit: "" },
          ] as const)
        : []),
      ...(fringes.found && light ? originMeasures(fringeOrigin(fringes.found.periodPx, light)) : []),
    ],
    flatDetails: {
      dust,
      radial,
      fringes,
      ...(shape ? { shape } : {}),
      ...(leftover ? { leftoverSun: leftover } : {}),
    },
  };
}

function originMeasures(origin: FringeOrigin): Measure[] {
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

/** From what was asked, else from the header; `undefined` when a pixel's size or the wavelength is known by neither. */
function lightOf(header: FitsHeader, asked: OpticsAsked): FringeLight | undefined {
  const { pixelMicron } = opticsOf(header, asked);
  const wavelengthNm = asked.wavelengthNm ?? header.number("WAVELEN");
  if (pixelMicron === undefined || wavelengthNm === undefined || !(wavelengthNm > 0)) return undefined;
  const { bandwidthAngstrom } = asked;
  return { pixelMicron, wavelengthNm, ...(bandwidthAngstrom === undefined ? {} : { bandwidthAngstrom }) };
}

/** Level at the rim of the field, and half-way, over that in the middle. */
function radialMeasures({ rings }: RadialProfile): Measure[] {
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
export function opticsOf(header: FitsHeader, asked: OpticsAsked): DustOptions {
  const [focal, aperture] = [header.number("FOCALLEN"), header.number("APTDIA")];
  const focalRatio = asked.focalRatio ?? (focal && aperture ? focal / aperture : undefined);
  const binned = header.number("XPIXSZ");
  const unbinned = header.number("PIXSIZE");
  const pixelMicron =
    asked.pixelMicron ??
    binned ??
    (unbinned === undefined ? undefined : unbinned * (header.number("XBINNING") ?? 1));
  return {
    ...(focalRatio === undefined ? {} : { focalRatio }),
    ...(pixelMicron === undefined ? {} : { pixelMicron }),
  };
}

/**
 * Noise that photons and reading out allow, a share of the level, where the header tells electrons per adu.
 * Source: EMVA 1288 linear.
 */
function photonLimit({ header, values }: Picture, flat: Flat): number | undefined {
  const electronsPerAdu = header.number("EGAIN");
  if (electronsPerAdu === undefined || !(electronsPerAdu > 0)) return undefined;
  const levelAdu =
    header.number("FLATLEVL") ?? (header.text("BUNIT")?.trim() === "" ? undefined : median(values));
  if (levelAdu === undefined || !(levelAdu > 1)) return undefined;
  const sensor = {
    aduPerElectron: 1 / electronsPerAdu,
    darkNoiseElectrons: header.number("RDNOISE") ?? 0,
    pedestalAdu: 0,
  };
  const noiseAdu = Math.sqrt(varianceAdu2(sensor, signalElectrons(sensor, levelAdu)));
  const gain = median(flat.gain.filter((_, i) => flat.mask[i] === 0)) ?? 1;
  return noiseAdu / levelAdu / Math.sqrt(combinedCount(header)) / Math.sqrt(gain);
}

function leftOverOf(flat: Flat, sunFile: string): LeftoverSun | undefined {
  const { picture } = readPicture(sunFile);
  const { widthPx, heightPx } = flat.shape;
  if (picture.widthPx !== widthPx || picture.heightPx !== heightPx)
    throw new InputError(
      `${sunFile} is ${picture.widthPx} x ${picture.heightPx} px and the flat ${widthPx} x ${heightPx}.`,
      "Name a picture of the Sun of the same binning and region.",
    );
  return leftoverSun(
    flat,
    picture.values.map((value, i) => value / flat.gain[i]!),
    flat.shape,
  );
}
