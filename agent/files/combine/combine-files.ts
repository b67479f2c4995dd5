import { combinePlain } from "./combine-plain.ts";
import { combineSeries, isSeries } from "./combine-series.ts";
import { type CombineMethod, type CombineResult, type MasterRequest, openSeries } from "./open-series.ts";

export interface CombineRequest extends MasterRequest {
  /** Default: `series` of flats, darks and biases that say so in their headers, else `clipped`. */
  readonly method?: CombineMethod;
  /** Of `mean`, `clipped` and `median`. Default: as many as pay. */
  readonly threads?: 1 | 2;
}

/**
 * Makes a master frame from FITS files.
 * @param onProgress pixels done, of how many
 * @throws InputError
 */
export function combineFiles(
  request: CombineRequest,
  onProgress: (done: number, of: number) => void,
): CombineResult {
  using opened = new DisposableStack();
  const series = openSeries(request, 2, opened);
  const method = request.method ?? (isSeries(series.images) ? "series" : "clipped");
  return method === "series"
    ? combineSeries(request, series, onProgress)
    : combinePlain({ ...request, method }, series, onProgress);
}
