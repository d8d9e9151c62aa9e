/** When the hands are due for a rest, and when they have had one. Times in ms on the page's clock. */

const BREAK_AFTER_MS = 25 * 60_000;
/** Out of the practice for so long, the hands have rested. Common practice, no source. */
const RESTED_AFTER_MS = 5 * 60_000;

/** Since when the hands work without a rest, for a practice that begins now; `left`: when the one before it ended. */
export function workingSince(since: number | null, left: number | null, now: number): number {
  const rested = left !== null && now - left >= RESTED_AFTER_MS;
  return since === null || rested ? now : since;
}

export function needsBreak(since: number | null, now: number): boolean {
  return since !== null && now - since > BREAK_AFTER_MS;
}
