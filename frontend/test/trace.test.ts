import { expect, it } from "vitest";
import { KEPT_POINTS, PitchTrace } from "../src/state/pitchTrace";

it("keeps the newest points, oldest first, and never grows", () => {
  const trace = new PitchTrace();
  for (let i = 0; i < KEPT_POINTS + 10; i += 1) trace.add([i], [i % 3 === 0 ? null : i], 0);
  const points = [...trace.points()];
  expect(points).toHaveLength(KEPT_POINTS);
  expect(points[0]?.[0]).toBe(10);
  expect(points.at(-1)?.[0]).toBe(KEPT_POINTS + 9);
  expect(points.filter(([, cents]) => Number.isNaN(cents)).length).toBeGreaterThan(KEPT_POINTS / 4);
});
