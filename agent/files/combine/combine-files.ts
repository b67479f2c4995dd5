import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { describeUnproved, nobodyLooked } from "../../imaging/proof/light-figures.ts";
import { statedKind } from "../frame-kind.ts";
import { explainFileErrors } from "../input-error.ts";
import { decideKind, kindShown } from "../kind-of-picture.ts";
import { lookAtFrame } from "../look-at-frame.ts";
import { combinePlain } from "./combine-plain.ts";
import { checkKind, combineSeries, isSeries, type SeriesKind } from "./combine-series.ts";
import { type CombineMethod, type CombineResult, type MasterRequest, openSeries } from "./open-series.ts";

export interface CombineRequest extends MasterRequest {
  /** Default: `series` of flats, darks and biases, by their headers or by what they show, else `clipped`. */
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
  const { images, warnings } = series;
  if (request.kind !== undefined) checkKind(images, request.kind);
  const shown =
    request.kind === undefined && (request.method ?? "series") === "series"
      ? kindOfSilentFrames(images)
      : undefined;
  const kind = request.kind ?? shown?.kind;
  const method = request.method ?? (isSeries(images, kind) ? "series" : "clipped");
  const result = await (method === "series"
    ? combineSeries(
        { ...request, ...(kind === undefined ? {} : { kind }) },
        { ...series, warnings: shown ? [shown.warning, ...warnings] : warnings },
        onProgress,
      )
    : combinePlain({ ...request, method }, series, onProgress));
  const isFlat = (kind ?? statedKind(images[0]!.header)) === "flat";
  return isFlat ? { ...result, warnings: [...result.warnings, lightUnproved] } : result;
}

const lightUnproved = describeUnproved(nobodyLooked.notMeasured).replace(/\.$/, "");

/**
 * Where no header says what the frames are: by their names, or by the light in them. Frames that are lit all over and are to be
 * combined are taken for flats. @returns `undefined` where a header says something, or the frames differ
 */
function kindOfSilentFrames(
  images: readonly FitsFileImage[],
): { readonly kind: SeriesKind; readonly warning: string } | undefined {
  if (images.some(({ header }) => statedKind(header) !== undefined)) return undefined;
  const looks = [images[0]!, images[images.length >> 1]!, images.at(-1)!].map((image) => {
    const levels = explainFileErrors(image.path, () => lookAtFrame(image))?.levels;
    const { kind, why } = decideKind(undefined, image.path, levels);
    if (kind !== undefined || !levels || kindShown(levels) !== "lit") return { kind, why };
    return { kind: "flat" as const, why: "they are lit all over" };
  });
  const { kind, why } = looks[0]!;
  if (kind === undefined || kind === "image" || looks.some((look) => look.kind !== kind)) return undefined;
  const warning = `no header says what the frames are, and they are taken for ${pluralOf[kind]}: ${why}; --kind or --method says otherwise`;
  return { kind, warning };
}

const pluralOf = { flat: "flats", dark: "darks", bias: "biases" } as const;
