import { describe, expect, it } from "vitest";
import { bent, centsToMm, halfWindowMm, placeToMm, tickStepMm } from "../src/parts/geometry";
import {
  attemptLine,
  landingLine,
  legsLine,
  legWord,
  pretty,
  secondsLeft,
  signed,
  spokenCue,
} from "../src/parts/words";
import type { AttemptView } from "../src/state/shapes";

describe("geometry of the string", () => {
  // Closed form L(1 - 2^(-n/12)); values computed for L = 328, 690 and 1050 mm.
  it.each([
    [328, 2, 35.79],
    [328, 7, 109.09],
    [328, 12, 164.0],
    [690, 5, 173.08],
    [1050, 12, 525.0],
  ])("L = %d mm, place %d is %d mm from the nut", (length, place, mm) => {
    expect(placeToMm(place, length)).toBeCloseTo(mm, 1);
  });

  it("is exact, not linear: 100 cents at place 2 of the violin are 16.40 mm", () => {
    expect(centsToMm(100, 2, 328)).toBeCloseTo(16.4, 2);
  });

  it("shows every landing but strays", () => {
    const half = halfWindowMm(2, [1, -8]);
    expect(half).toBeGreaterThanOrEqual(8);
    expect(halfWindowMm(2, [400])).toBeLessThanOrEqual(40);
  });

  it("marks four or five steps a side", () => {
    for (const half of [4, 6, 10, 15, 25, 40, 60, 100, 150, 250]) {
      expect(half / tickStepMm(half)).toBeLessThanOrEqual(5);
      expect(half / tickStepMm(half)).toBeGreaterThanOrEqual(2);
    }
  });

  it("bends evenly to both sides", () => {
    expect(bent(0)).toBe(0);
    expect(bent(-300)).toBeCloseTo(-bent(300));
    expect(bent(20)).toBeGreaterThan(bent(700) / 5);
  });
});

describe("words", () => {
  it("says millimetres and cents together", () => {
    expect(landingLine(13.2, 2.14)).toBe("+2.1 mm, 13 cents high");
    expect(landingLine(-1.2, -0.2)).toBe("\u22120.2 mm, 1 cent low");
    expect(landingLine(0.2, 0.03)).toBe("0.0 mm, 0 cents");
    expect(landingLine(null, null)).toBe("");
  });

  it("never writes a minus before nothing", () => {
    expect(signed(-0.04, 1)).toBe("0.0");
  });

  it("says where a corrected landing came from and went to", () => {
    const attempt = {
      verdict: "corrected",
      landing_cents: -28,
      landing_mm: -4.1,
      settled_cents: -1.4,
      timing_s: null,
      vibrato: { present: false },
    } as unknown as AttemptView;
    expect(attemptLine(attempt)).toBe("\u22124.1 mm, 28 cents low, then 1 cent low");
  });

  it("says both notes of a double stop", () => {
    const lower = {
      target: { pitch: "C#5" },
      verdict: "corrected",
      landing_cents: -28,
      landing_mm: -4.1,
      settled_cents: -1.4,
    };
    const upper = {
      target: { pitch: "A5" },
      verdict: "unjudged",
      landing_cents: null,
      landing_mm: null,
      settled_cents: null,
    };
    const attempt = { verdict: "corrected", timing_s: null, vibrato: { present: false }, notes: [lower, upper] };
    expect(attemptLine(attempt as unknown as AttemptView)).toBe(
      "C\u266f5 28 cents low, then 1 cent low, A5 not judged",
    );
  });

  it("prints accidentals, not letters", () => {
    expect(pretty("Bb3")).toBe("B\u266d3");
    expect(pretty("F#4")).toBe("F\u266f4");
    expect(pretty("B3")).toBe("B3");
  });
});

describe("there and back", () => {
  const leg = (verdict: string, cents: number | null, more = {}) =>
    ({ verdict, landing_cents: cents, landing_mm: 1, settled_cents: null, timing_s: null, ...more }) as AttemptView;

  it("says which way decided", () => {
    expect(legWord("low", "back")).toBe("low back");
    expect(legWord("true", "there")).toBe("true");
    expect(legWord("unjudged", "back")).toBe("unjudged");
    expect(legWord("low", "")).toBe("low");
  });

  it("tells both landings", () => {
    const legs = { there: leg("true", 3), back: leg("corrected", 24, { settled_cents: -2 }) };
    const line = "There 3 cents high; back 24 cents high, then 2 cents low";
    expect(legsLine({ verdict: "corrected", legs, reason: null })).toBe(line);
    const late = { there: leg("late", 1, { timing_s: 0.12 }), back: null };
    expect(legsLine({ verdict: "late", legs: late, reason: null })).toBe(
      "There 1 cent high, 120 ms late; back not judged",
    );
    expect(legsLine({ verdict: "unjudged", legs: late, reason: "The way back was not heard." })).toBe(
      "The way back was not heard.",
    );
  });
});

it("a screen reader hears each verdict once, and a count as a whole", () => {
  expect(spokenCue({ word: "high", line: "30 cents high", kind: "verdict high" })).toBe("high. 30 cents high");
  expect(spokenCue({ word: "\u00a0", line: "30 cents high", kind: "landing" })).toBe("");
  const beats = ["1", "2", "3"].map((word) => spokenCue({ word, line: "In one bow.", kind: "count" }));
  expect(new Set(beats)).toEqual(new Set(["In one bow."]));
});

describe("what goes on by itself", () => {
  it("is counted down in whole seconds and never below none", () => {
    const waiting = { seconds: 8, since: 1000 };
    const left = [0, 1000, 1001, 1999, 2001, 8900, 9000, 20000].map((now) => secondsLeft(waiting, now));
    expect(left).toEqual([8, 8, 8, 8, 7, 1, 0, 0]);
  });
});
