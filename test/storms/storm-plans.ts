/** Five hundredths of the disc are two pixels. */
const centre = "- centre: { toleranceFraction: 0.05 }";

/** Short plans: everything that can be uncovered, slewed and put back, in as few frames as the plan's schema allows. */
export const stormPlans = {
  centre,
  images: `${centre}\n  - images: { frames: 2, testFrames: 0 }`,
  waits: `${centre}\n  - wait: { minutes: 2 }\n  - images: { frames: 1, testFrames: 0 }`,
  flat: `${centre}\n  - leak-check: { frames: 4 }\n  - flat: { blur: diffuser, frames: 4, darkFrames: 4 }`,
  drift: `${centre}\n  - flat: { blur: drift, frames: 24, darkFrames: 4, levelFraction: 0.8 }`,
  defocus: `${centre}\n  - flat: { blur: defocus, frames: 4, darkFrames: 4 }`,
  darks: "- darks: { frames: 4, exposureSeconds: 1 }",
} as const;

/** Below it no storm's plan may look at the Sun. */
export const sunAltitudeDegreesMin = 20;

export type PlanName = keyof typeof stormPlans;

export function planText(name: PlanName): string {
  return `plan: ${name}\nsun: { altitudeDegreesMin: ${sunAltitudeDegreesMin} }\nsteps:\n  ${stormPlans[name]}\n`;
}
