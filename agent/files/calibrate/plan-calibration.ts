import { darkSettings, type Setting, settingDifferences } from "../same-setting.ts";
import { sensorOrigin } from "../sensor-region.ts";
import type { FileFacts } from "./file-facts.ts";
import { agrees, type FrameGroup, groupFrames } from "./group-frames.ts";
import { masterName } from "./master-name.ts";

export type MasterKind = "flat" | "dark" | "bias";

/** A master to be made, or one that lies in the folder. */
export interface PlannedMaster {
  readonly kind: MasterKind;
  /** Of its file, below the results' folder; of one that lies in the folder, its own. */
  readonly name: string;
  readonly group: FrameGroup;
  /** What is taken off it. */
  readonly dark: PlannedDark | undefined;
  readonly isThere: boolean;
}

/** A dark as it fits some frames. */
export interface PlannedDark {
  readonly master: PlannedMaster;
  /** Brought to another exposure by a bias. */
  readonly scaled:
    | { readonly bias: PlannedMaster; readonly exposureSeconds: number; readonly name: string }
    | undefined;
  /** In words. */
  readonly why: string;
}

/** Images that are calibrated alike. */
export interface PlannedImages {
  readonly files: readonly FileFacts[];
  readonly flat: PlannedMaster;
  readonly dark: PlannedDark | undefined;
  readonly why: string;
}

export interface LeftOutOfPlan {
  readonly file: FileFacts;
  readonly why: string;
}

export interface CalibrationPlan {
  readonly biases: readonly PlannedMaster[];
  readonly darks: readonly PlannedMaster[];
  readonly flats: readonly PlannedMaster[];
  readonly images: readonly PlannedImages[];
  readonly leftOut: readonly LeftOutOfPlan[];
}

export interface PlanOptions {
  /** Flats and images for which there is no dark are used as they are. */
  readonly withoutDark: boolean;
}

const biasSettings = darkSettings.filter((keyword) => keyword !== "EXPTIME");
const flatSettings: readonly Setting[] = [...darkSettings, "FILTER", "ROTATANG", "XORGSUBF", "YORGSUBF"];
/** What a flat has to share with images; gain and exposure may differ, once the dark is off. */
const trainSettings: readonly Setting[] = ["INSTRUME", "XBINNING", "FILTER", "ROTATANG", "ROWORDER"];
/** A dark that is made longer than it was gets its noise multiplied. */
const longestScaling = 2;

/** Sorts the files of a folder into masters and what they are for. Moves and makes nothing. */
export function planCalibration(files: readonly FileFacts[], options: PlanOptions): CalibrationPlan {
  const leftOut: LeftOutOfPlan[] = files
    .filter(({ kind }) => kind === undefined)
    .map((file) => ({
      file,
      why: `${file.kindWhy}: name its kind in IMAGETYP, or in the name of its folder`,
    }));
  const masters = (kind: MasterKind, settings: readonly Setting[], byTime = false): PlannedMaster[] => {
    const ofKind = files.filter((file) => file.kind === kind);
    const found = ofKind
      .filter(({ isMaster }) => isMaster)
      .map((file) => ({
        kind,
        name: file.name,
        group: { files: [file], first: file },
        dark: undefined,
        isThere: true,
      }));
    const groups = groupFrames(
      ofKind.filter(({ isMaster }) => !isMaster),
      settings,
      { byTime },
    );
    const made = groups.flatMap((group) => {
      if (group.files.reduce((count, file) => count + file.frameCount, 0) > 1)
        return [{ kind, name: masterName(kind, group), group, dark: undefined, isThere: false }];
      leftOut.push({
        file: group.first,
        why: `it is the only ${kind} of its setting, and a master needs two`,
      });
      return [];
    });
    return [...found, ...made];
  };
  const biases = masters("bias", biasSettings);
  const darks = masters("dark", darkSettings);
  const flats = masters("flat", flatSettings, true).flatMap((flat) => {
    if (flat.isThere) return [flat];
    const dark = chooseDark(flat.group.first, darks, biases);
    if (typeof dark === "string" && !options.withoutDark) {
      leftOut.push(...flat.group.files.map((file) => ({ file, why: dark })));
      return [];
    }
    return [{ ...flat, dark: typeof dark === "string" ? undefined : dark }];
  });
  const images: PlannedImages[] = [];
  for (const group of groupFrames(
    files.filter(({ kind, isMaster }) => kind === "image" && !isMaster),
    flatSettings,
    { byTime: true },
  )) {
    const flat = chooseFlat(group.first, flats);
    const dark = chooseDark(group.first, darks, biases);
    const whyNot =
      typeof flat === "string" ? flat : typeof dark === "string" && !options.withoutDark ? dark : undefined;
    if (whyNot !== undefined) leftOut.push(...group.files.map((file) => ({ file, why: whyNot })));
    else if (typeof flat !== "string")
      images.push({
        files: group.files,
        flat: flat.master,
        dark: typeof dark === "string" ? undefined : dark,
        why: `${flat.why}; ${typeof dark === "string" ? `no dark: ${dark}` : dark.why}`,
      });
  }
  for (const file of files)
    if (file.kind === "image" && file.isMaster)
      leftOut.push({ file, why: "it was made of several images already" });
  return { biases, darks, flats, images, leftOut };
}

/** @returns why there is none, in words */
function chooseDark(
  target: FileFacts,
  darks: readonly PlannedMaster[],
  biases: readonly PlannedMaster[],
): PlannedDark | string {
  const covering = darks.filter(({ group }) => covers(group.first, target));
  const same = nearest(
    covering.filter(({ group }) => settingsAgree(target, group.first, darkSettings)),
    target,
  );
  const seconds = target.header.number("EXPTIME");
  if (same) {
    const why =
      seconds === undefined
        ? "a dark whose exposure no header tells either"
        : `a dark of the same ${secondsText(seconds)}`;
    return { master: same, scaled: undefined, why };
  }
  if (covering.length === 0) return "there is no dark of its size";
  const alike = covering.filter(({ group }) => settingsAgree(target, group.first, biasSettings));
  if (alike.length === 0) {
    const differs = settingDifferences(target, covering[0]!.group.first, biasSettings);
    return differs.length > 0
      ? `there is no dark of its gain, offset, temperature and camera (${differs[0]})`
      : "headers do not tell enough to say that a dark is of its setting";
  }
  if (seconds === undefined) return "its header does not tell the exposure, and darks of its size do";
  const bias = nearest(
    biases.filter(
      ({ group }) => covers(group.first, target) && settingsAgree(target, group.first, biasSettings),
    ),
    target,
  );
  const longest = alike
    .filter(({ group }) => (group.first.header.number("EXPTIME") ?? 0) > 0)
    .toSorted((a, b) => b.group.first.header.number("EXPTIME")! - a.group.first.header.number("EXPTIME")!)[0];
  const offered = alike.map(({ group }) => secondsText(group.first.header.number("EXPTIME") ?? 0)).join(", ");
  if (!bias || !longest)
    return `there is no dark of ${secondsText(seconds)}, only of ${offered}, and no bias to scale one by`;
  const darkSeconds = longest.group.first.header.number("EXPTIME")!;
  if (seconds > longestScaling * darkSeconds)
    return `the longest dark is of ${secondsText(darkSeconds)}, too short to be scaled to ${secondsText(seconds)}`;
  return {
    master: longest,
    scaled: {
      bias,
      exposureSeconds: seconds,
      name: masterName("dark", longest.group, { scaledTo: seconds, by: bias.name }),
    },
    why: `the dark of ${secondsText(darkSeconds)} scaled to ${secondsText(seconds)} above the bias`,
  };
}

function chooseFlat(
  target: FileFacts,
  flats: readonly PlannedMaster[],
): { readonly master: PlannedMaster; readonly why: string } | string {
  const covering = flats.filter(({ group }) => covers(group.first, target));
  if (covering.length === 0) return "there is no flat of its size that could be made";
  const fitting = covering.filter(({ group }) => settingsAgree(target, group.first, trainSettings));
  const master = nearest(fitting, target);
  if (!master) {
    const differs = settingDifferences(target, covering[0]!.group.first, trainSettings);
    return `there is no flat of its filter, binning and camera${differs.length > 0 ? ` (${differs[0]})` : ""}`;
  }
  const apartMs = Math.abs((master.group.first.utcMs ?? Number.NaN) - (target.utcMs ?? Number.NaN));
  const apart = Number.isNaN(apartMs) ? "" : `, ${Math.round(apartMs / 60_000)} min apart`;
  return {
    master,
    why:
      fitting.length > 1
        ? `the nearest of ${fitting.length} flats in time${apart}`
        : `the flat of its train${apart}`,
  };
}

/** Of the size, or of the whole sensor where the target says which region of it it is. */
function covers(master: FileFacts, target: FileFacts): boolean {
  if (master.widthPx === target.widthPx && master.heightPx === target.heightPx) return true;
  const origin = sensorOrigin(target.header);
  if (origin === undefined) return false;
  const { x = 0, y = 0 } = sensorOrigin(master.header) ?? {};
  return (
    origin.x >= x &&
    origin.y >= y &&
    origin.x + target.widthPx <= x + master.widthPx &&
    origin.y + target.heightPx <= y + master.heightPx
  );
}

function settingsAgree(target: FileFacts, master: FileFacts, keywords: readonly Setting[]): boolean {
  return agrees(
    { ...target, widthPx: master.widthPx, heightPx: master.heightPx, colourFilters: master.colourFilters },
    master,
    keywords,
  );
}

function nearest(masters: readonly PlannedMaster[], target: FileFacts): PlannedMaster | undefined {
  const apart = ({ group }: PlannedMaster) => Math.abs((group.first.utcMs ?? 0) - (target.utcMs ?? 0));
  return masters.toSorted((a, b) => apart(a) - apart(b))[0];
}

export function secondsText(seconds: number): string {
  return `${Number(seconds.toPrecision(4))} s`;
}
