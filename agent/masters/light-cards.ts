import type { Card } from "../../drivers/formats/fits-card.ts";
import type { LightProof } from "../imaging/proof/light-figures.ts";

/** What the Sun said of a flat's light, for its header. */
export function lightCards(light: LightProof): Card[] {
  if ("notMeasured" in light)
    return [
      { keyword: "LIGHTSUN", value: false, comment: "light was not held against the Sun" },
      { keyword: "COMMENT", value: `the light was not proved: ${light.notMeasured}` },
    ];
  const { rms, sigma, worst, map, seenFraction, clearShare } = light;
  return [
    { keyword: "LIGHTSUN", value: true, comment: "light was held against the Sun" },
    figure("LIGHTERR", rms, `rms error of the light, ${map.sidePx} px blocks`),
    figure("LIGHTSIG", sigma, "one sigma of it"),
    figure("LIGHTMAX", worst, "largest of a block"),
    figure("LIGHTFLD", seenFraction, "share of the field that was looked at"),
    ...(clearShare
      ? [
          figure("CLEARSHR", clearShare.share, "share of light that went through clear"),
          figure("CLEARSIG", clearShare.sigma, "one sigma of it"),
        ]
      : []),
    { keyword: "COMMENT", value: "a slope of the light was not measured" },
  ];
}

function figure(keyword: string, value: number, comment: string): Card {
  return { keyword, value: Number(value.toPrecision(4)), comment };
}
