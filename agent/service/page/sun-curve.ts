import { safeHtml } from "../../outputs/safe-html.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { localText } from "../schedule/local-day.ts";
import type { ScheduleSite } from "../schedule/moments.ts";

const minuteMs = 60_000;
const hours = 24;
const everyMinutes = 10;
/** Of the drawing, in its own units; altitudes from -20 to 90 degrees. */
const [width, height] = [400, 160];
const [lowest, highest] = [-20, 90];

export interface DueMark {
  readonly utcMs: number;
  readonly entry: string;
}

/** The Sun's altitude through the next 24 hours and what is due then, as a drawing and in words. */
export function drawSunCurve(site: ScheduleSite, fromUtcMs: number, due: readonly DueMark[]): string {
  const untilUtcMs = fromUtcMs + hours * 60 * minuteMs;
  const points = Array.from({ length: (hours * 60) / everyMinutes + 1 }, (_, index) => {
    const utcMs = fromUtcMs + index * everyMinutes * minuteMs;
    return { utcMs, degrees: sunFromSite(utcMs, site).altitudeDegrees };
  });
  const x = (utcMs: number) => (((utcMs - fromUtcMs) / (untilUtcMs - fromUtcMs)) * width).toFixed(1);
  const y = (degrees: number) =>
    (((highest - Math.max(degrees, lowest)) / (highest - lowest)) * height).toFixed(1);
  const clock = (utcMs: number) => localText(utcMs, site.timeZone).slice(11);
  const curve = points.map(({ utcMs, degrees }) => `${x(utcMs)},${y(degrees)}`).join(" ");
  const levels = [0, 30, 60].map(
    (degrees) =>
      `<path d="M0 ${y(degrees)}H${width}" stroke="currentColor" stroke-opacity="${degrees === 0 ? 0.9 : 0.3}"/><text x="4" y="${Number(y(degrees)) - 5}">${degrees}°</text>`,
  );
  const marks = due
    .filter(({ utcMs }) => utcMs >= fromUtcMs && utcMs <= untilUtcMs)
    .map(({ utcMs, entry }) => {
      const degrees = sunFromSite(utcMs, site).altitudeDegrees;
      const title = `${entry}, ${clock(utcMs)}, the Sun at ${degrees.toFixed(1)}°`;
      return `<path d="M${x(utcMs)} 0V${height}" stroke="currentColor" stroke-dasharray="4 4"/><circle cx="${x(utcMs)}" cy="${y(degrees)}" r="5" fill="currentColor"><title>${safeHtml(title)}</title></circle>`;
    });
  const words = describeSun(points, clock);
  return `<figure class="sky"><svg viewBox="0 0 ${width} ${height}" role="img" aria-label="${safeHtml(words)}" font-size="13" fill="currentColor">
${levels.join("")}<polyline points="${curve}" fill="none" stroke="currentColor" stroke-width="2"/>${marks.join("")}
</svg><figcaption>${safeHtml(words)}</figcaption></figure>`;
}

function describeSun(
  points: readonly { readonly utcMs: number; readonly degrees: number }[],
  clock: (utcMs: number) => string,
): string {
  const top = points.reduce((best, point) => (point.degrees > best.degrees ? point : best));
  if (top.degrees < 0) return "The Sun stays below the horizon for the next 24 hours.";
  const crossing = (isUp: boolean) =>
    points.find(({ degrees }, index) => {
      const before = points[index - 1]?.degrees;
      return before !== undefined && (isUp ? before < 0 && degrees >= 0 : before >= 0 && degrees < 0);
    });
  const [rise, set] = [crossing(true), crossing(false)];
  const about = [
    `In the next 24 hours the Sun is highest near ${clock(top.utcMs)}, at ${top.degrees.toFixed(0)}°`,
    rise && `rises near ${clock(rise.utcMs)}`,
    set && `sets near ${clock(set.utcMs)}`,
  ].filter((part) => part !== undefined);
  return `${about.join(", ")}.${rise || set ? "" : " It does not set."}`;
}
