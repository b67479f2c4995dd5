/** UTC of an ISO date and time [ms since the epoch]; both protocols and FITS leave the zone out and mean UTC. */
export function parseUtcMs(text: string | undefined): number | undefined {
  if (text === undefined || text === "") return undefined;
  const ms = Date.parse(/[zZ]|[+-]\d\d:?\d\d$/.test(text) ? text : `${text}Z`);
  return Number.isNaN(ms) ? undefined : ms;
}
