import { type Flat, normaliseFlat } from "../../imaging/combining/normalise-flat.ts";
import { StepError } from "../step-error.ts";

/** The flat of a master. @throws StepError when nothing of it is lit */
export function litFlat(master: Parameters<typeof normaliseFlat>[0]): Flat {
  const flat = normaliseFlat(master);
  if (flat) return flat;
  throw new StepError(
    "NOTHING_LIT",
    "no pixel of the flat's frames is lit",
    "Look at the frame in the run's folder.",
  );
}
