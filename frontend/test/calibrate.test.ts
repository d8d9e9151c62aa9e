import { describe, expect, it } from "vitest";
import { measureLatency } from "../src/sound/calibrate";
import { arrivalTimes } from "../src/sound/sounds";

const RATE = 44100;

function recording(delayS: number, clicks: number[], jitter: (i: number) => number = () => 0): Float32Array {
  const samples = new Float32Array(5 * RATE);
  for (let i = 0; i < samples.length; i += 1) samples[i] = 0.001 * Math.sin(i * 12.9898);
  clicks.forEach((click, index) => {
    const from = Math.round((click + delayS + jitter(index)) * RATE);
    for (let i = 0; i < 0.03 * RATE; i += 1) samples[from + i] = 0.3 * Math.sin((2 * Math.PI * 1320 * i) / RATE);
  });
  return samples;
}

describe("latency calibration", () => {
  const clicks = [0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4];

  it("finds the delay to two milliseconds", () => {
    for (const delay of [0.012, 0.087, 0.25]) {
      const found = measureLatency(recording(delay, clicks), RATE, 0, clicks);
      expect(found?.heard).toBe(8);
      expect(Math.abs((found?.latencyS ?? 1) - delay)).toBeLessThan(0.002);
    }
  });

  it("refuses silence and clicks that disagree", () => {
    expect(measureLatency(new Float32Array(5 * RATE), RATE, 0, clicks)).toBeNull();
    expect(
      measureLatency(
        recording(0.05, clicks, (i) => 0.06 * (i % 3)),
        RATE,
        0,
        clicks,
      ),
    ).toBeNull();
  });

  it("counts from the recording's own first sample", () => {
    const found = measureLatency(
      recording(0.05, clicks),
      RATE,
      10,
      clicks.map((click) => click + 10),
    );
    expect(found?.latencyS).toBeCloseTo(0.05, 2);
  });
});

describe("the click", () => {
  it("puts the arrivals where the drill wants them", () => {
    const times = arrivalTimes({ bpm: 60, countIn: 4, bar: 4, length: 8, arrivals: [2, 6.5] }, 24);
    expect(times).toEqual([6, 10.5, 14, 18.5, 22]);
  });
});
