import { readSite } from "./site-text.ts";

export interface InitAnswers {
  readonly name: string;
  readonly site: string;
  readonly aperture: string;
  readonly focalLength: string;
  readonly wavelength: string;
  readonly filter: string;
  readonly byHand: readonly ("cover" | "diffuser")[];
}

/** What only a person who has looked at the filter may write. */
export const leftToFill = ["sunFilter.madeForThisInstrument", "sunFilter.lastConfirmed"] as const;

/** A rig file with its comments. @param block servers and devices, as `find` has them */
export function rigText(answers: InitAnswers, block: string): string {
  const { latitudeDegrees, longitudeDegrees, elevationMetres } = readSite(answers.site, "");
  return `# READ THIS FIRST. The Sun seen through any unfiltered instrument blinds at once and without pain.
#  - Never look through the telescope, an eyepiece, a diagonal or a finder while a program drives the mount.
#  - Cap or remove every finder; it has no filter, and the run cannot see it.
#  - The guidance of the filter's maker and the rules at your site come before anything written here.

rig: ${answers.name} # names the rig in the ledger and in its runs

site:
  latitudeDegrees: ${latitudeDegrees} # north positive
  longitudeDegrees: ${longitudeDegrees} # east positive: west of Greenwich is negative
  elevationMetres: ${elevationMetres}

optics:
  apertureMm: ${Number(answers.aperture)}
  focalLengthMm: ${Number(answers.focalLength)} # with every extender and reducer counted in
  wavelengthNm: ${Number(answers.wavelength)}

# The program believes what stands here. Inspect the filter on the telescope, turned away from the Sun, for holes, scratches and
# a firm seat; only then fill in the two lines that are empty.
sunFilter:
  describe: ${JSON.stringify(answers.filter)}
  madeForThisInstrument: # true, and only when it is
  lastConfirmed: # the day on which you inspected it, such as 2026-05-01
  confirmAgainAfterDays: 60

${block}
${answers.byHand.map((role) => `  ${role}: { by: hand } # asked for at the terminal; refused with nobody there\n`).join("")}
train: {} # facts that no device knows and that change the flat when they change, such as cameraSpacerMm: 12
`;
}

/** As it would be when a person has filled it in, for checking the rest. */
export function filledIn(text: string, today: string): string {
  return text
    .replace("madeForThisInstrument:", "madeForThisInstrument: true")
    .replace("lastConfirmed:", `lastConfirmed: ${today}`);
}
