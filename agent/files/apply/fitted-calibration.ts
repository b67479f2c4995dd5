import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import { prepareFlat } from "../../imaging/combining/apply.ts";
import { colourLevels, shiftLevels } from "../../imaging/combining/colour-levels.ts";
import type { Calibration } from "../flat-file.ts";
import { hasColourFilters } from "../frame-kind.ts";
import { sizeText } from "../image-file.ts";
import { InputError } from "../input-error.ts";
import { type SensorOrigin, sensorOrigin } from "../sensor-region.ts";
import type { ToDivide } from "./apply-origin.ts";

/**
 * Flat and dark as an image needs them: cut to its region of the sensor, and each colour at its own level where there are colour
 * filters. The last are kept, for images mostly come in series.
 */
export class FittedCalibration {
  #last: { readonly key: string; readonly calibration: Calibration } | undefined;

  constructor(readonly whole: Calibration) {}

  /** @throws InputError if the image is no part of the flat */
  for(image: ToDivide): Calibration {
    const { flat } = this.whole;
    const origin = originIn(image, this.whole);
    const coloured = hasColourFilters(image.header) || hasColourFilters(flat.header);
    const { widthPx, heightPx } = flat.image;
    if (!coloured && image.widthPx === widthPx && image.rowCount === heightPx) return this.whole;
    const key = [origin.x, origin.y, image.widthPx, image.rowCount, coloured].join(" ");
    if (this.#last?.key !== key) {
      const shape = { widthPx: image.widthPx, heightPx: image.rowCount };
      this.#last = { key, calibration: cut(this.whole, { ...origin, ...shape }, coloured) };
    }
    return this.#last.calibration;
  }
}

/** Where the image begins in the flat. @throws InputError */
function originIn(image: ToDivide, { flat }: Calibration): SensorOrigin {
  const { widthPx, heightPx } = flat.image;
  const isWhole = image.widthPx === widthPx && image.rowCount === heightPx;
  const [own, flats] = [sensorOrigin(image.header), sensorOrigin(flat.header)];
  if (isWhole && (own === undefined || flats === undefined)) return { x: 0, y: 0 };
  const sizes = `${image.path} is ${sizeText(image)} and the flat ${widthPx} x ${heightPx} px`;
  const advice = "Apply a flat of the same binning and region, or of the whole sensor.";
  if (own === undefined) throw new InputError(`${sizes}.`, advice);
  // A flat that says of no region is of the whole sensor.
  const x = own.x - (flats?.x ?? 0);
  const y = own.y - (flats?.y ?? 0);
  const binning = (header: FitsHeader) => header.number("XBINNING") ?? 1;
  const fits =
    binning(image.header) === binning(flat.header) &&
    Number.isInteger(x) &&
    Number.isInteger(y) &&
    x >= 0 &&
    y >= 0 &&
    x + image.widthPx <= widthPx &&
    y + image.rowCount <= heightPx;
  if (fits) return { x, y };
  throw new InputError(
    `${sizes}, and by its header it begins at ${own.x}, ${own.y} of the sensor, which is not inside the flat.`,
    advice,
  );
}

interface Region extends SensorOrigin {
  readonly widthPx: number;
  readonly heightPx: number;
}

function cut(whole: Calibration, region: Region, coloured: boolean): Calibration {
  const { flat, dark, factors } = whole;
  const { widthPx, heightPx } = region;
  const shape = { widthPx, heightPx };
  const { gain, sigma, mask } = factors.flat;
  const part = { shape, levelAdu: factors.flat.levelAdu };
  const cutFlat = {
    ...part,
    gain: cutOut(gain, factors.flat.shape.widthPx, region),
    sigma: cutOut(sigma, factors.flat.shape.widthPx, region),
    mask: cutOut(mask, factors.flat.shape.widthPx, region),
  };
  // Levels of the whole flat: a region of a divided image is what the divided region is.
  const levels = coloured
    ? shiftLevels(colourLevels(gain, mask, factors.flat.shape), region.x, region.y)
    : undefined;
  const darkAdu = dark && cutOut(dark.image.data, flat.image.widthPx, region);
  return {
    ...whole,
    flat: { ...flat, image: { ...flat.image, ...shape, data: cutFlat.gain } },
    factors: prepareFlat(cutFlat, {
      darkAdu,
      ...(levels ? { colourLevels: levels } : { keepLevel: factors.level }),
    }),
  };
}

function cutOut<Pixels extends Float32Array | Uint8Array>(
  pixels: Pixels,
  rowPx: number,
  { x, y, widthPx, heightPx }: Region,
): Pixels {
  const part = new (pixels.constructor as new (length: number) => Pixels)(widthPx * heightPx);
  for (let row = 0; row < heightPx; row++) {
    const from = (y + row) * rowPx + x;
    part.set(pixels.subarray(from, from + widthPx) as never, row * widthPx);
  }
  return part;
}
