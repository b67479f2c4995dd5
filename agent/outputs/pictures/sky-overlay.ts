import { type MarkedShadow, markRadiusPx } from "./flat-picture.ts";

/** How the picture moves when the line of sight moves east and north: `shiftPx = M · moveArcsec`, row by row. */
export interface CameraOnSky {
  readonly pxPerArcsec: readonly [number, number, number, number];
  readonly arcsecPerPx: number;
}

/** Where things stand in the overlay's box, hundredths of the picture's width from its upper left point. */
const box = { width: 44, height: 23 } as const;
const compass = { x: 10, y: 9, armLength: 5, letterAt: 7, radius: 8.5 } as const;
const bar = { left: 22, y: 18, textAbove: 1.2, height: 5 } as const;
/** Of the picture's width. */
const barFraction = 0.18;

/** North, east and a scale bar in SVG, in the picture's own pixels, in the corner where it covers the fewest marked shadows. */
export function skyOverlay(
  sky: CameraOnSky,
  shape: { readonly widthPx: number; readonly heightPx: number },
  marks: readonly MarkedShadow[],
): string {
  const { widthPx, heightPx } = shape;
  const unit = widthPx / 100;
  const top = heightPx - box.height * unit;
  const [m11, m12, m21, m22] = sky.pxPerArcsec;
  // What lies east of the line of sight is where the picture comes from when that moves east.
  const arrow = (x: number, y: number, name: string) => {
    const length = Math.hypot(x, y) || 1;
    const [u, v] = [x / length, y / length];
    const [x0, y0] = [compass.x * unit, top + compass.y * unit];
    const at = (reach: number) =>
      `${(x0 + u * reach * unit).toFixed(1)} ${(y0 + v * reach * unit).toFixed(1)}`;
    const [textX, textY] = at(compass.letterAt).split(" ");
    return `<path d="M${at(0)} L${at(compass.armLength)}"/><text x="${textX}" y="${textY}" text-anchor="middle" dominant-baseline="central" stroke="none">${name}</text>`;
  };
  const barArcsec = roundLength(barFraction * widthPx * sky.arcsecPerPx);
  const barPx = barArcsec / sky.arcsecPerPx;
  const [left, y] = [bar.left * unit, top + bar.y * unit];
  const scale = `<path d="M${left.toFixed(1)} ${y.toFixed(1)} h${barPx.toFixed(1)}"/><text x="${(left + barPx / 2).toFixed(1)}" y="${(y - bar.textAbove * unit).toFixed(1)}" text-anchor="middle" stroke="none">${barArcsec}″</text>`;
  const { xPx, yPx } = freeCorner(shape, marks);
  const style = `transform="translate(${xPx.toFixed(1)} ${(yPx - top).toFixed(1)})" fill="#ffd58a" stroke="#ffd58a" stroke-width="${(0.3 * unit).toFixed(2)}" font-family="system-ui,sans-serif" font-size="${(2.6 * unit).toFixed(1)}"`;
  return `<g ${style}>${arrow(-m12, -m22, "N")}${arrow(-m11, -m21, "E")}${scale}</g>`;
}

/** Upper left point of the box there; the lower left corner if all are alike. */
function freeCorner(
  { widthPx, heightPx }: { readonly widthPx: number; readonly heightPx: number },
  marks: readonly MarkedShadow[],
): { readonly xPx: number; readonly yPx: number } {
  const unit = widthPx / 100;
  const covered = ({ xPx, yPx }: { readonly xPx: number; readonly yPx: number }) =>
    marks.filter((mark) => {
      const [x, y] = [(mark.xPx - xPx) / unit, (mark.yPx - yPx) / unit];
      const radius = markRadiusPx(mark, widthPx) / unit;
      const nearestX = Math.min(Math.max(x, bar.left), bar.left + 100 * barFraction);
      const nearestY = Math.min(Math.max(y, bar.y - bar.height), bar.y);
      return (
        Math.hypot(x - compass.x, y - compass.y) < radius + compass.radius ||
        Math.hypot(x - nearestX, y - nearestY) < radius
      );
    }).length;
  const [right, bottom] = [widthPx - box.width * unit, heightPx - box.height * unit];
  const corners = [
    { xPx: 0, yPx: bottom },
    { xPx: right, yPx: bottom },
    { xPx: 0, yPx: 0 },
    { xPx: right, yPx: 0 },
  ];
  return corners.reduce((best, one) => (covered(one) < covered(best) ? one : best));
}

/** The nearest of 1, 2 and 5 times a power of ten below. */
function roundLength(arcsec: number): number {
  const power = 10 ** Math.floor(Math.log10(arcsec));
  const step = [5, 2, 1].find((one) => one * power <= arcsec) ?? 1;
  return Number((step * power).toPrecision(1));
}
