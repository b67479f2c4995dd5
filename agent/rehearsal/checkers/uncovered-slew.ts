import { type Checker, whenBegins } from "./checker.ts";

/** How near the Sun counts as at the Sun [degrees]. */
const nearDegrees = 5;

/** The tube was open while the mount slewed to the Sun, or across it. */
export const uncoveredSlew: Checker = (history) =>
  whenBegins(history, "uncoveredSlew", (m) => {
    if (m.coverOpen === 0 || m.mount === "still" || m.sunAltitudeDegrees < 0) return undefined;
    const leads = m.mount === "slewing" && (m.targetSunSeparationDegrees ?? 180) < nearDegrees;
    // A small correction of a tube that looks at the Sun already is no slew to it.
    const wasThere = m.sunSeparationDegrees < nearDegrees;
    if (leads && !wasThere) return `uncovered (${m.coverOpen.toFixed(2)}) during a slew to the Sun`;
    return undefined;
  });
