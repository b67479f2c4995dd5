import { type DiscRoom, leastDiscRadiusToDefocusPx } from "../../imaging/defocus/defocus-room.ts";
import { leastDiscRadiusPx } from "../../imaging/displaced/drift/drift-room.ts";

/** Why a disc is too small for a frame, with the sizes that would do. */
export interface LackOfRoom {
  readonly message: string;
  readonly whatToDo: string;
  readonly leastDiscRadiusPx: number;
}

const requirements = {
  drift: {
    least: leastDiscRadiusPx,
    needs: "to drift without the limb or its darkening",
  },
  defocus: {
    least: leastDiscRadiusToDefocusPx,
    needs: "to light enough of the frame evenly out of focus",
  },
} as const;

/** `undefined` when the disc is large enough. */
export function lackOfRoom(
  blur: keyof typeof requirements,
  { shape, discRadiusPx }: DiscRoom,
): LackOfRoom | undefined {
  const { widthPx, heightPx } = shape;
  const least = requirements[blur].least(shape);
  if (discRadiusPx >= least) return undefined;
  const share = discRadiusPx / least;
  return {
    message:
      `the disc's radius is ${discRadiusPx.toFixed(0)} px in a frame of ${widthPx} x ${heightPx} px; ` +
      `${requirements[blur].needs} it must be at least ${Math.ceil(least)} px`,
    whatToDo:
      `Use a focal length ${(1 / share).toFixed(2)} times as long or more, or a region of at most ` +
      `${Math.floor(share * widthPx)} x ${Math.floor(share * heightPx)} px as binned, or take the flat by \`diffuser\`.`,
    leastDiscRadiusPx: least,
  };
}
