import type { FrameKind } from "./frame-kind.ts";

/** Levels of a picture over its highest code. */
export interface PictureLevels {
  /** Medians of blocks: the darkest but for a twentieth, the one in the middle, the brightest but for a twentieth. */
  readonly low: number;
  readonly middle: number;
  readonly high: number;
}

/**
 * What a picture shows, as far as levels can tell it: `dark` holds no light and is even, `image` has dark sky beside light, `lit`
 * is light all over, as flats and close pictures of the Sun are. Own rule; no source.
 */
export function kindShown({ low, middle, high }: PictureLevels): "dark" | "image" | "lit" | undefined {
  if (high < 0.05 && high - low < 0.005) return "dark";
  if (high > 0.2 && low < 0.25 * high) return "image";
  return middle > 0.15 ? "lit" : undefined;
}

/** What a file and its folders are called. */
export function kindByName(name: string): FrameKind | undefined {
  const words = name.toLowerCase().split(/[\\/]/).reverse();
  for (const word of words) {
    if (/flat/.test(word)) return "flat";
    if (/dark/.test(word)) return "dark";
    if (/bias|zero|offset/.test(word)) return "bias";
    if (/(^|[^a-z])(lights?|sun|images?)([^a-z]|$)/.test(word)) return "image";
  }
  return undefined;
}

export interface KindDecision {
  readonly kind: FrameKind | undefined;
  /** In words: what it was told by, or why it could not be. */
  readonly why: string;
}

/** From the header, else from the name, if the picture does not contradict; else from the picture alone where that is enough. */
export function decideKind(
  stated: FrameKind | undefined,
  name: string,
  levels: PictureLevels | undefined,
): KindDecision {
  const shown = levels && kindShown(levels);
  const named = kindByName(name);
  const said = stated ?? named;
  const by = stated === undefined ? "its name" : "its header";
  if (said !== undefined) {
    const isDark = said === "dark" || said === "bias";
    if (isDark && (shown === "image" || shown === "lit"))
      return { kind: undefined, why: `${by} says ${said}, and there is light in it` };
    if (said === "flat" && shown === "dark")
      return { kind: undefined, why: `${by} says flat, and there is no light in it` };
    // A header may well say so of a lit field smaller than the frame.
    if (said === "flat" && shown === "image" && stated === undefined)
      return { kind: undefined, why: `${by} says flat, and a part of the frame is dark` };
    return { kind: said, why: `${by} says ${said}` };
  }
  if (shown === "dark") return { kind: "dark", why: "there is no light in it" };
  if (shown === "image") return { kind: "image", why: "it shows dark sky beside light" };
  return {
    kind: undefined,
    why: "its header does not say whether it is a flat or an image, and the picture could be either",
  };
}
