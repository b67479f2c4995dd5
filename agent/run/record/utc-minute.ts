/** `2026-11-30T14:05Z`, as a rig file takes it. */
export function formatUtcMinute(utcMs: number): string {
  return `${new Date(utcMs).toISOString().slice(0, 16)}Z`;
}
