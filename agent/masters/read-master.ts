import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import type { FitsHeader } from "../../drivers/formats/fits-header.ts";
import type { Flat } from "../imaging/combining/normalise-flat.ts";

export interface FlatFromFile extends Flat {
  readonly header: FitsHeader;
}

/** A master flat; without UNCERT its sigma is 0, without MASK every pixel is trusted. @throws FitsError */
export function readMasterFlat(path: string): FlatFromFile {
  const { widthPx, heightPx, data, sigma, mask, header } = readCcdImage(path);
  return {
    shape: { widthPx, heightPx },
    gain: data,
    sigma: sigma ?? new Float32Array(data.length),
    mask: mask ?? new Uint8Array(data.length),
    levelAdu: header.number("FLATLEVL") ?? 1,
    header,
  };
}

/** A master dark as it is taken off frames. */
export interface DarkFromFile {
  readonly meanAdu: Float32Array;
  /** 0 where the file does not say. */
  readonly sigmaAdu: Float32Array;
  /** 1 where a pixel is not to be trusted; `undefined` when the file does not say. */
  readonly unhealthyPx: Uint8Array | undefined;
}

/** @throws FitsError */
export function readMasterDark(path: string): DarkFromFile {
  const { data, sigma, mask } = readCcdImage(path);
  return {
    meanAdu: data,
    sigmaAdu: sigma ?? new Float32Array(data.length),
    unhealthyPx: mask?.map((bits) => (bits === 0 ? 0 : 1)),
  };
}
