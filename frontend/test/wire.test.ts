import { describe, expect, it } from "vitest";
import { levelWord, measureLevel } from "../src/sound/level";
import { packBlock, toInt16 } from "../src/wire";

describe("wire", () => {
  it("packs slot, first frame and little-endian samples", () => {
    const bytes = new Uint8Array(packBlock(1, 258, Int16Array.from([1, -2])));
    expect([...bytes]).toEqual([1, 0, 0, 0, 2, 1, 0, 0, 1, 0, 0xfe, 0xff]);
  });

  it("gives back every 16-bit sample exactly", () => {
    const all = Int16Array.from({ length: 65536 }, (_, i) => i - 32768);
    const floats = Float32Array.from(all, (value) => value / 32768);
    expect(toInt16(floats)).toEqual(all);
  });

  it("clips instead of wrapping", () => {
    expect([...toInt16(Float32Array.from([2, -2]))]).toEqual([32767, -32768]);
  });
});

describe("level", () => {
  it("measures a full-scale sine at -3 dB (closed form: 20 log10(1/sqrt 2))", () => {
    const sine = Int16Array.from({ length: 4410 }, (_, i) => Math.round(32000 * Math.sin((2 * Math.PI * i) / 44.1)));
    const level = measureLevel(sine);
    expect(level.rmsDb).toBeCloseTo(20 * Math.log10(32000 / 32768 / Math.SQRT2), 1);
    expect(level.clipped).toBe(false);
  });

  it("names what the player can do something about", () => {
    const quiet = measureLevel(new Int16Array(512));
    expect(levelWord(quiet, -100)).toBe("silent");
    expect(levelWord(quiet, -50)).toBe("quiet");
    expect(levelWord(quiet, -12)).toBe("good");
    expect(levelWord(measureLevel(new Int16Array(512).fill(32767)), -12)).toBe("loud");
  });
});
