import type { PairMatch } from "./match-since.ts";
import type { TrainMatch } from "./match-train.ts";
import type { ShadowMove } from "./shadow-moves.ts";
import type { TrainChanges } from "./train-changes.ts";

/** What a match says, in one or two sentences with what to do. */
export function matchText(match: TrainMatch): string {
  return `${describeMatch(match)} ${advice[match.says]}`;
}

const moreImages =
  "This is no reason for a new flat: name several images of the train together, in which the Sun lies some pixels apart.";

const advice: Record<TrainMatch["says"], string> = {
  fits: "The flat can be used.",
  moved: "Take a new flat.",
  changed: "Take a new flat.",
  other: "Take a new flat.",
  uncertain: moreImages,
  untold: `${moreImages} Else judge by camera, binning, filter, rotator and focus.`,
};

/** What two images told of the time between them, in one sentence. */
export function describePairMatch({ says, shift, move }: PairMatch): string {
  const by = `${shift.x.toFixed(2)}, ${shift.y.toFixed(2)} px (±${shift.sigmaPx.toFixed(2)})`;
  const turn = move
    ? `, turned by ${move.rotationDegrees.toFixed(2)} deg (±${move.rotationSigmaDegrees.toFixed(2)})`
    : "";
  switch (says) {
    case "fits":
      return `The dust lies where it lay, to ${by}.`;
    case "moved":
      return `The dust has moved by ${by}${turn}.`;
    case "untold":
      return `The Sun has changed too much to tell: a shift is known to ±${shift.sigmaPx.toFixed(2)} px only.`;
  }
}

/** What was seen, in one sentence. */
export function describeMatch(match: TrainMatch): string {
  const { says, shift, move } = match;
  const far = Math.hypot(shift.x, shift.y);
  const by = `${shift.x.toFixed(2)}, ${shift.y.toFixed(2)} px (±${shift.sigmaPx.toFixed(2)})`;
  switch (says) {
    case "fits":
      return `The dust lies where the flat has it, to ${by}.`;
    case "moved": {
      const turn = move
        ? ` turned by ${move.rotationDegrees.toFixed(2)} deg (±${move.rotationSigmaDegrees.toFixed(2)}),`
        : "";
      const gone = match.gone > 0 ? `; ${match.gone} shadows are gone from where they were` : "";
      return `The dust has moved by ${by},${turn} ${surfacesText(match)}${gone}.`;
    }
    case "changed":
      return `The dust lies where the flat has it, but ${changesText(match.changes)}: new dust, dust that was blown off, or another focus.`;
    case "other":
      return "The picture shows other dust than the flat: another train, or one that was cleaned.";
    case "uncertain":
      if (match.changes?.places.length)
        return `The dust lies where the flat has it, but ${changesText(match.changes)}: the Sun's own spots, or new dust.`;
      return `The patterns agree only in part (correlation ${match.correlation.toFixed(2)} of ${match.correlationExpected.toFixed(2)}, shift ${far.toFixed(2)} px).`;
    case "untold":
      return "There is too little dust, or too much else in the picture, to tell.";
  }
}

/** `a division would leave -5.2 % at 120, 340 px and harm at 3 places more` */
function changesText(changes: TrainChanges | undefined): string {
  const [worst, ...more] = changes?.places ?? [];
  if (!worst) return "something differs";
  const others = more.length === 0 ? "" : ` and harm at ${more.length} more places`;
  return `a division would leave ${(100 * worst.left).toFixed(1)} % at ${worst.xPx}, ${worst.yPx} px${others}`;
}

/** Which surfaces moved, told by the size of their shadows: large ones lie far from the sensor. */
function surfacesText({ move, shift }: TrainMatch): string {
  if (!move) return "all of it as far as can be told";
  const stays = (one: ShadowMove) => Math.hypot(one.movedX, one.movedY) < Math.max(0.3, 4 * one.sigmaPx);
  const all = [...move.along, ...move.apart];
  const stayed = all.filter(stays);
  const moved = all.filter((one) => !stays(one) && one.share > 0.5);
  if (stayed.length === 0 || moved.length === 0) return "all surfaces together";
  const size = (ones: readonly ShadowMove[]) =>
    ones.reduce((sum, one) => sum + one.diameterPx, 0) / ones.length;
  const near =
    size(stayed) < size(moved)
      ? "near the sensor stayed, that farther off moved"
      : "farther off stayed, that near the sensor moved";
  const still = Math.hypot(shift.x, shift.y) < 0.3 ? "in part" : "for the most part";
  return `${still}: ${stayed.length} shadows stayed and ${moved.length} moved; dust ${near} (${size(stayed).toFixed(0)} and ${size(moved).toFixed(0)} px wide on average)`;
}
