import { rigFile } from "../../plans/rig-file.ts";
import { CommandError } from "./outcome.ts";
import { readSite } from "./site-text.ts";

/** One thing that a rig file needs and that a person knows: asked for, or given as the option of its name. */
export interface InitQuestion {
  readonly option: "name" | "site" | "aperture" | "focalLength" | "wavelength" | "filter";
  readonly flag: string;
  readonly question: string;
  readonly usual?: string;
  /** What is wrong with an answer; `undefined` when nothing is. */
  problem(answer: string): string | undefined;
}

const { shape } = rigFile;

/** In the order in which they are asked. */
export const initQuestions: readonly InitQuestion[] = [
  {
    option: "name",
    flag: "--name <NAME>",
    question: "What is the rig called? Lower-case letters, digits and hyphens",
    usual: "my-rig",
    problem: (answer) => problemOf(shape.rig, answer),
  },
  {
    option: "site",
    flag: "--site <LAT,LON[,ELEV]>",
    question:
      "Where does it stand? Latitude and longitude in degrees, north and east positive, and metres: 46.5,9.8,1720",
    problem: (answer) => {
      try {
        readSite(answer, "");
        return undefined;
      } catch (error) {
        if (error instanceof CommandError) return error.told.whatToDo;
        throw error;
      }
    },
  },
  {
    option: "aperture",
    flag: "--aperture <MM>",
    question: "Aperture in millimetres",
    problem: (answer) => problemOf(shape.optics.shape.apertureMm, numberOf(answer)),
  },
  {
    option: "focalLength",
    flag: "--focal-length <MM>",
    question: "Focal length in millimetres, with every extender and reducer counted in",
    problem: (answer) => problemOf(shape.optics.shape.focalLengthMm, numberOf(answer)),
  },
  {
    option: "wavelength",
    flag: "--wavelength <NM>",
    question: "Wavelength of the light that the camera sees, in nanometres",
    usual: "656.28",
    problem: (answer) => problemOf(shape.optics.shape.wavelengthNm, numberOf(answer)),
  },
  {
    option: "filter",
    flag: "--filter <WORDS>",
    question: "Which Sun filter is fitted, and how does it hold?",
    problem: (answer) => problemOf(shape.sunFilter.shape.describe, answer),
  },
];

interface Field {
  safeParse(value: unknown): {
    readonly success: boolean;
    readonly error?: { readonly issues: readonly { readonly message: string }[] };
  };
}

function problemOf(field: Field, value: unknown): string | undefined {
  const allowed = field.safeParse(value).error?.issues[0]?.message;
  return allowed === undefined ? undefined : `Allowed: ${allowed}.`;
}

function numberOf(answer: string): number {
  return answer.trim() === "" ? Number.NaN : Number(answer);
}
