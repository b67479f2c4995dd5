import { describeUnproved, nobodyLooked } from "../../imaging/proof/light-figures.ts";
import { statedKind } from "../frame-kind.ts";
import { combinePlain } from "./combine-plain.ts";
import { checkKind, combineSeries, isSeries, type SeriesKind } from "./combine-series.ts";
import { type CombineMethod, type CombineResult, type MasterRequest, openSeries } from "./open-series.ts";

export interface CombineRequest extends MasterRequest {
  /** Default: `series` of flats, darks and biases that say so in their headers, else `clipped`. */
  readonly method?: CombineMethod;
  /** What the frames are, where their headers do not say. */
  readonly kind?: SeriesKind;
}

/**
 * Makes a master frame from FITS files.
 * @param onProgress pixels done, of how many
 * @throws InputError, and the signal's reason
 */
export async function combineFiles(
  request: CombineRequest,
  onProgress: (done: number, of: number) => void,
): Promise<CombineResult> {
  using opened = new DisposableStack();
  const series = openSeries(request, 2, opened);
  if (request.kind !== undefined) checkKind(series.images, request.kind);
  const method = request.method ?? (isSeries(series.images, request.kind) ? "series" : "clipped");
  const result = await (method === "series"
    ? combineSeries(request, series, onProgress)
    : combinePlain({ ...request, method }, series, onProgress));
  const isFlat = (request.kind ?? statedKind(series.images[0]!.header)) === "flat";
  return isFlat ? { ...result, warnings: [...result.warnings, lightUnproved] } : result;
}

const lightUnproved = describeUnproved(nobodyLooked.notMeasured).replace(/\.$/, "");
