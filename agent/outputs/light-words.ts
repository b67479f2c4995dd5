import type { LightCorrection } from "../imaging/light/correct-light.ts";
import type { LightProof } from "../imaging/proof/light-figures.ts";
import type { CurveOfFlat } from "../imaging/proof/response-figures.ts";
import type { FlatFound } from "../procedures/flat/flat-request.ts";

const percent = (share: number, digits = 2) => `${(100 * share).toFixed(digits)} %`;

/** What is known of a flat's light, for the top of the report. */
export function lightFacts(light: LightProof): (readonly [string, string])[] {
  if ("notMeasured" in light) return [["Light", `not proved: ${light.notMeasured}`]];
  const { rms, sigma, map, seenFraction, clearShare, ghosts } = light;
  const reflection =
    ghosts.moves === undefined ? "" : "; a reflection moves over the field, its size is not measured";
  return [
    [
      "Light, held against the Sun",
      `uneven by ${percent(rms, 3)} ± ${percent(sigma, 3)} over blocks of ${map.sidePx} px on ${percent(seenFraction, 0)} of the field; its slope was not measured${reflection}`,
    ],
    ...(clearShare
      ? ([
          ["Light through the sheet clear", `${percent(clearShare.share)} ± ${percent(clearShare.sigma)}`],
        ] as const)
      : []),
  ];
}

/** What was taken out of the light, for the same place. */
export function correctionFacts(correction: LightCorrection | undefined): (readonly [string, string])[] {
  if (!correction) return [];
  const { kept, because, clearShare, smoothRms, heldOutLooks, before, after } = correction;
  const parts = [
    ...(clearShare
      ? [`the Sun's picture, ${percent(clearShare.share)} ± ${percent(clearShare.sigma)} of the light`]
      : []),
    ...(smoothRms === undefined ? [] : [`a smooth map of ${percent(smoothRms, 3)} rms, without a slope`]),
  ].join(" and ");
  const proof =
    before && after
      ? `; by ${heldOutLooks} other frames of the Sun the error was ${percent(before.rms, 3)} and ${kept ? "is" : "would be"} ${percent(after.rms, 3)}`
      : "";
  const text = kept
    ? `divided out of the flat: ${parts}`
    : `not corrected: ${because}${parts && ` (found: ${parts})`}`;
  return [["Light, corrected by the Sun", `${text}${proof}`]];
}

/** What the sensor's curve does to images, for the same place. */
export function responseFacts(
  curve: CurveOfFlat | undefined,
  correction: FlatFound["responseCorrection"],
): (readonly [string, string])[] {
  const refused =
    correction?.because === undefined
      ? []
      : ([
          ["Counts as they came", `not straightened by the sensor's response: ${correction.because}`],
        ] as const);
  if (!curve) return [["Sensor's response", "not measured"], ...refused];
  const ofImages = curve.ofImages.map(
    ({ imageLevel, rms, sigma }) =>
      `${percent(rms, 3)} ± ${percent(sigma, 3)} rms of images at ${percent(imageLevel, 0)} of full scale`,
  );
  if (curve.corrected)
    return [
      [
        "Sensor's response",
        `counts straightened by it; images have to be too, as \`evenfield apply\` does. As they came they would hold ${ofImages.join(", ")}`,
      ],
    ];
  return [["Sensor's response leaves in the flat", ofImages.join(", ")], ...refused];
}
