import { brightnessAtRadius, type LimbDarkening } from "../disc/limb-darkening.ts";

const steps = 400;
const rings = 24;
const spokes = 64;

/**
 * Brightness of a darkened disc that a pupil out of focus has blurred, over its own centre's.
 * @param pupilRadii radius of the blur, in radii of the disc
 * @returns of the distance from the disc's centre in its radii; linear between samples, 0 where no light comes
 */
export function blurredDisc(darkening: LimbDarkening, pupilRadii: number): (radii: number) => number {
  const most = 1 + pupilRadii;
  const table = new Float64Array(steps + 2);
  const places = placesInPupil(pupilRadii);
  for (let k = 0; k <= steps; k++) table[k] = meanOverPupil(darkening, (most * k) / steps, places);
  const centre = table[0]!;
  return (radii) => {
    const place = (radii / most) * steps;
    if (!(place < steps)) return 0;
    const from = Math.floor(place);
    return (table[from]! + (place - from) * (table[from + 1]! - table[from]!)) / centre;
  };
}

interface Places {
  readonly x: Float64Array;
  readonly y: Float64Array;
}

/** Rings of equal area, so that every sample weighs the same. */
function placesInPupil(pupilRadii: number): Places {
  const [x, y] = [new Float64Array(rings * spokes), new Float64Array(rings * spokes)];
  for (let ring = 0, i = 0; ring < rings; ring++) {
    const away = pupilRadii * Math.sqrt((ring + 0.5) / rings);
    for (let spoke = 0; spoke < spokes; spoke++, i++) {
      const angle = (2 * Math.PI * (spoke + (ring % 2) / 2)) / spokes;
      x[i] = away * Math.cos(angle);
      y[i] = away * Math.sin(angle);
    }
  }
  return { x, y };
}

function meanOverPupil(darkening: LimbDarkening, radii: number, { x, y }: Places): number {
  let sum = 0;
  for (let i = 0; i < x.length; i++) {
    const along = radii + x[i]!;
    sum += brightnessAtRadius(darkening, Math.sqrt(along * along + y[i]! * y[i]!));
  }
  return sum / x.length;
}
