/** Where a pitch lies on a string. Places are semitones above the open string; mm count from the nut. */

/** Distance from the nut: L (1 - 2^(-n/12)), an ideal string (Mersenne 1636). */
export function placeToMm(place: number, lengthMm: number): number {
  return lengthMm * (1 - 2 ** (-place / 12));
}

/** How far a finger that sounds `cents` off a place lies from it; exact, not linear. */
export function centsToMm(cents: number, place: number, lengthMm: number): number {
  return placeToMm(place + cents / 100, lengthMm) - placeToMm(place, lengthMm);
}

const HALF_WINDOWS_MM = [4, 6, 10, 15, 25, 40, 60, 100, 150, 250];

/** Half the stretch of string that is drawn: the tolerance with room around it, and every landing that is not a stray. */
export function halfWindowMm(toleranceMm: number, landingsMm: number[]): number {
  const wanted = Math.max(3 * toleranceMm, ...landingsMm.map((mm) => 1.15 * Math.min(Math.abs(mm), 12 * toleranceMm)));
  return HALF_WINDOWS_MM.find((half) => half >= wanted) ?? 250;
}

/** A step in mm that gives at most `most` marks on each side. */
export function tickStepMm(halfMm: number, most = 5): number {
  return [1, 2, 5, 10, 20, 50, 100].find((step) => halfMm / step <= most) ?? 100;
}

/** Cents to a height: straight near the target, gathered far from it, so that slide and tolerance both show. */
export function bent(cents: number): number {
  return Math.asinh(cents / 15);
}
