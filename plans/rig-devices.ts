import * as z from "zod";
import { mapOf, textLine } from "./fields.ts";

const server = textLine("a name under `servers`", 60);
const device = textLine("the device's name as its server gives it", 100);
const driven = mapOf({ server, device });

/** Something that a person puts on and takes off; a run asks for it at the terminal, or is refused unattended. */
const byHand = mapOf({ by: z.literal("hand", { error: "hand" }) });

/** `{ server, device }` or `{ by: hand }`, told apart by the keys so that the message fits what was meant. */
const drivenOrByHand = z
  .unknown()
  .transform((entry, ctx): z.infer<typeof driven> | z.infer<typeof byHand> => {
    const meantByHand = entry !== null && typeof entry === "object" && "by" in entry;
    const result = (meantByHand ? byHand : driven).safeParse(entry, { reportInput: true });
    if (result.success) return result.data;
    ctx.issues.push(...(result.error.issues as z.core.$ZodRawIssue[]));
    return z.NEVER;
  });

/** The devices of the rig by role. Only the camera must be there. */
export const rigDevices = mapOf({
  camera: driven,
  mount: driven.optional(),
  focuser: driven.optional(),
  cover: drivenOrByHand.optional(),
  diffuser: drivenOrByHand.optional(),
  wheel: driven.optional(),
  rotator: driven.optional(),
  dome: driven.optional(),
  weather: driven.optional(),
});
export type RigDevices = z.infer<typeof rigDevices>;

/** A device that a server drives. */
export type DrivenDevice = z.infer<typeof driven>;
