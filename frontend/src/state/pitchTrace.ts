/** The last seconds of pitch, in a ring that never grows. */

export const KEPT_POINTS = 4096;

export class PitchTrace {
  readonly times = new Float64Array(KEPT_POINTS);
  /** NaN where nothing was heard. */
  readonly cents = new Float64Array(KEPT_POINTS);
  count = 0;
  private head = 0;
  latest = 0;
  /** When the latest point came, on the page's clock in ms. */
  latestAt = 0;

  add(times: number[], cents: (number | null)[], now: number): void {
    for (let i = 0; i < times.length; i += 1) {
      this.times[this.head] = times[i] as number;
      this.cents[this.head] = cents[i] ?? Number.NaN;
      this.head = (this.head + 1) % KEPT_POINTS;
      this.count = Math.min(this.count + 1, KEPT_POINTS);
    }
    const last = times.at(-1);
    if (last !== undefined) {
      this.latest = last;
      this.latestAt = now;
    }
  }

  clear(): void {
    this.count = 0;
    this.head = 0;
    this.latest = 0;
  }

  /** Oldest first. */
  *points(): Generator<[number, number]> {
    const first = (this.head - this.count + KEPT_POINTS) % KEPT_POINTS;
    for (let i = 0; i < this.count; i += 1) {
      const at = (first + i) % KEPT_POINTS;
      yield [this.times[at] as number, this.cents[at] as number];
    }
  }
}

export const trace = new PitchTrace();
