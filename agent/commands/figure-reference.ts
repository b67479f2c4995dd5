import { rangeText, rules } from "../imaging/proof/proof-figure.ts";

/** What each figure of a report says, for a reader who has not met it before. */
const meanings: Readonly<Record<keyof typeof rules, string>> = {
  upperEdge: "How far the frames are exposed: where the brightest pixels sit.",
  clipped: "Pixels at the end of the scale, hot ones left out; their true value is lost.",
  noise: "What the flat's own grain adds to every image, as a part of its level.",
  evenOdd: "The odd frames' mean against that of the even ones. 1 is what chance allows; more is flicker.",
  drift: "The first half of the series against the second: what changed slowly.",
  moved:
    "Squares of 8 px in the first half of the frames against the second, each held against what is round about; the worst of them. Something moved in the rig, or fell on a surface, while the flat was taken: there the flat is a mean of two states. Take it again; the place is told.",
  grey: "A second flat divided by the first. What is left would be left in the images.",
  pairLight: "Smooth differences between two flats of the same train.",
  pairChange: "The largest difference between two flats, at any place.",
  leftoverSun: "Spots, granules or a limb of the Sun that the blur did not remove.",
  lightSeen: "How much of the field the looks at the plain Sun held against one another.",
  lightError: "What the light itself wrote into the flat, told by looks at the plain Sun from round about.",
  lightUnsure: "How well the figure before is known.",
  clearShare: "Light that passes the diffuser without being spread, and so still pictures the Sun.",
  reflection: "Light that moves otherwise than the Sun or stands still while it moves; a lower limit.",
  response: "What a bent response of the sensor leaves in images that are fainter than the flat.",
  planeUnsure: "How well a slope across the whole flat is known.",
  plane: "That slope by two ways of measuring it, one against the other.",
  unseparated:
    "Structure that could be the Sun's as well as the rig's, for it lies where all frames look alike.",
  sunChange: "How much the Sun itself changed while it was taken for the same.",
  blurLeftover: "What is left of the Sun's structure out of focus, against the flat's grain.",
  lightGradient: "How well a slope of the light across the frame is known.",
  trusted: "How much of the frame the verdict speaks for. The rest is masked and left as it was.",
  focusKept: "Whether focus was found again after a flat by defocus.",
  leak: "Light that comes past the closed cover.",
  darkUneven: "How much brighter one side of a dark is than the other.",
  fringes: "Stripes of interference between two surfaces; they look like part of the flat, and wander.",
  gradient: "A slope across the flat that no vignetting makes.",
  hotSpot: "A bright patch, as a reflection or an uneven filter makes it.",
  dust: "How much light the deepest shadow of a speck takes away.",
  photonLimit: "The noise against what the number of photons allows at best, which is 1.",
  tonalStep: "How coarse the steps of the scale are against the noise.",
  missingCodes: "Counts that never occur between counts that do.",
  black: "Pixels whose noise is cut off at zero.",
  corner: "How much darker the corners are than the middle.",
};

/** Each figure that a flat is judged by, with its limits, as a Markdown table. */
export function figureReference(): string {
  const rows = (Object.keys(meanings) as (keyof typeof rules)[]).map((id) => {
    const { name, unit, good, usable, whatToDo } = rules[id];
    return `| ${name} | ${meanings[id]} | ${rangeText(good, unit)} | ${rangeText(usable, unit)} | ${whatToDo} |`;
  });
  return [
    "# Every figure of a report",
    "",
    "Written by `bun agent/commands/write-schema.ts` from the limits that the program judges by. Past `usable` a figure is bad.",
    "",
    "| figure | what it means | good | usable | when it is not good |",
    "|---|---|---|---|---|",
    ...rows,
    "",
  ].join("\n");
}
