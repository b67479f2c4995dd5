import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { given } from "../../drivers/kit/given.ts";
import {
  colourPlace,
  mosaicPitchPx,
  type PlaneColour,
  shiftMosaic,
} from "../../drivers/roles/colour-mosaic.ts";
import { type FlatAgainstTruth, flatAgainstTruth } from "../imaging/proof/flat-against-truth.ts";

/** What a simulated rig knows of itself and a rehearsal is held against; arrays over the whole sensor. */
export interface TrueRig {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly flat: Float32Array;
  /** Distance of the disc's centre from the middle of the frame when it was found centred, and its diameter [px]. */
  readonly centring: { readonly offsetPx: number; readonly diameterPx: number } | undefined;
  /** What differs between the rig before and after, by the world's own account. */
  readonly differences: readonly string[];
}

export type TruthRow = readonly [name: string, value: string, judgement: string];

/** With what the flat's own error budget says of blocks of 32 px, where its header has that. */
export type FlatErrors = FlatAgainstTruth & { readonly budgetBlocks?: number };

export interface TruthComparison {
  readonly rows: readonly TruthRow[];
  readonly flat: FlatErrors | undefined;
  readonly centringFraction: number | undefined;
  readonly differences: readonly string[];
}

const percent = (fraction: number, digits = 3) => `${(100 * fraction).toFixed(digits)} %`;

/** Holds a rehearsal's master, if there is one, and the rig it left behind against the truth. */
export function compareWithTruth(masterFile: string | undefined, truth: TrueRig): TruthComparison {
  const flat = masterFile === undefined ? undefined : compareFlat(masterFile, truth);
  const centring = truth.centring && truth.centring.offsetPx / truth.centring.diameterPx;
  const rows: TruthRow[] = [];
  if (centring !== undefined) {
    rows.push([
      "disc centre when centred",
      `${percent(centring)} of its diameter off`,
      centring <= 0.002 ? "within the 0.2 % asked for" : "further off than the 0.2 % asked for",
    ]);
  }
  if (flat) {
    const overLimit = flat.rmsError / flat.rmsExpected;
    rows.push(
      [
        "error of the master, per pixel",
        percent(flat.rmsError),
        `${overLimit.toFixed(3)} times what its own sigmas say`,
      ],
      [
        "pixels within one sigma",
        percent(flat.withinOneSigma, 1),
        Math.abs(flat.withinOneSigma - 0.6827) <= 0.02
          ? "68.3 % for an honest sigma"
          : "its sigmas are off: 68.3 % is honest",
      ],
      [
        "error over 32 px blocks",
        percent(flat.rmsErrorBlocks),
        flat.budgetBlocks === undefined
          ? "what would show in a picture"
          : `what would show in a picture; its own error budget says ${percent(flat.budgetBlocks)}`,
      ],
    );
  }
  rows.push([
    "settings of the simulated rig",
    truth.differences.length === 0 ? "as before" : `${truth.differences.length} differ`,
    truth.differences.length === 0 ? "by the world's own account" : truth.differences.join("; "),
  ]);
  return { rows, flat, centringFraction: centring, differences: truth.differences };
}

function compareFlat(masterFile: string, truth: TrueRig): FlatErrors | undefined {
  const { header, widthPx, heightPx, data, sigma, mask } = readCcdImage(masterFile);
  const trueFlat = trueFlatOf({ header, widthPx, heightPx }, truth);
  if (!sigma || !mask || !trueFlat) return undefined;
  const compared = flatAgainstTruth({ widthPx, heightPx, master: data, sigma, mask, truth: trueFlat });
  return compared && { ...compared, ...given({ budgetBlocks: header.number("ERR32PX") }) };
}

/** The truth over a master's own pixels: all of a region, or those of one colour. `undefined` where they were binned. */
export function trueFlatOf(
  { header, widthPx, heightPx }: Pick<ReturnType<typeof readCcdImage>, "header" | "widthPx" | "heightPx">,
  truth: Pick<TrueRig, "widthPx" | "heightPx" | "flat">,
): Float32Array | undefined {
  const [x0, y0] = [header.number("XORGSUBF") ?? 0, header.number("YORGSUBF") ?? 0];
  const colour = header.text("CFACOLOR")?.trim() as PlaneColour | undefined;
  const here = shiftMosaic(header.text("CFATYPE")?.trim() ?? "", x0, y0);
  const first = colour === undefined ? { x: 0, y: 0 } : colourPlace(here, colour);
  const pitchPx = colour === undefined ? 1 : mosaicPitchPx;
  if (!first || (header.number("XBINNING") ?? 1) !== pitchPx) return undefined;
  const out = new Float32Array(widthPx * heightPx);
  for (let y = 0, i = 0; y < heightPx; y++) {
    const start = (y0 + first.y + pitchPx * y) * truth.widthPx + x0 + first.x;
    for (let x = 0; x < widthPx; x++) out[i++] = truth.flat[start + pitchPx * x]!;
  }
  return out;
}
