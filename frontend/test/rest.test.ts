import { expect, test } from "vitest";
import { needsBreak, workingSince } from "../src/state/rest";

const MINUTE = 60_000;

test("a rest is due after 25 minutes of work, however many shifts that were", () => {
  let since = workingSince(null, null, 0);
  since = workingSince(since, 10 * MINUTE, 11 * MINUTE);
  since = workingSince(since, 20 * MINUTE, 24 * MINUTE);
  expect(needsBreak(since, 25 * MINUTE)).toBe(false);
  expect(needsBreak(since, 26 * MINUTE)).toBe(true);
});

test("five minutes away from the practice are a rest", () => {
  const since = workingSince(0, 20 * MINUTE, 25 * MINUTE);
  expect(needsBreak(since, 49 * MINUTE)).toBe(false);
  expect(needsBreak(since, 51 * MINUTE)).toBe(true);
});
