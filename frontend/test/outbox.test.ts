import { describe, expect, it } from "vitest";
import { Outbox } from "../src/sound/outbox";

const opening = { take: "take-0001", purpose: "practice" as const, sampleRate: 1000, about: {} };
const samples = (count: number, from = 0) => Int16Array.from({ length: count }, (_, i) => from + i);

describe("Outbox", () => {
  it("keeps what was not acknowledged and sends it again in order", () => {
    const outbox = new Outbox();
    outbox.open(opening);
    outbox.add(samples(10));
    outbox.add(samples(10, 10));
    outbox.add(samples(10, 20));
    outbox.acknowledge("take-0001", 20, false);
    const again = outbox.everythingAgain();
    expect(again.map((parcel) => parcel.kind)).toEqual(["text", "block"]);
    expect(again[1]).toMatchObject({ kind: "block", firstFrame: 20, slot: 1 });
    expect(outbox.waitingSeconds).toBeCloseTo(0.01);
  });

  it("keeps a block that was acknowledged in part", () => {
    const outbox = new Outbox();
    outbox.open(opening);
    outbox.add(samples(10));
    outbox.acknowledge("take-0001", 7, false);
    expect(outbox.everythingAgain()).toHaveLength(2);
  });

  it("never takes an acknowledgement back", () => {
    const outbox = new Outbox();
    outbox.open(opening);
    outbox.add(samples(10));
    outbox.acknowledge("take-0001", 10, false);
    outbox.acknowledge("take-0001", 4, false);
    expect(outbox.waitingSeconds).toBe(0);
  });

  it("remembers a closed take until the server says that it is closed", () => {
    const outbox = new Outbox();
    outbox.open(opening);
    outbox.add(samples(5));
    outbox.close();
    outbox.open({ ...opening, take: "take-0002" });
    outbox.add(samples(5));
    const kinds = outbox.everythingAgain().map((parcel) => (parcel.kind === "text" ? parcel.message : parcel.kind));
    expect(kinds).toMatchObject([
      { type: "take-open", take: "take-0001" },
      "block",
      { type: "take-close", take: "take-0001", frames: 5 },
      { type: "take-open", take: "take-0002" },
      "block",
    ]);
    outbox.acknowledge("take-0001", 5, true);
    expect(outbox.everythingAgain()).toHaveLength(2);
    expect(outbox.current).toBe("take-0002");
  });

  it("sends masks before the frames that follow them", () => {
    const outbox = new Outbox();
    outbox.open(opening);
    outbox.note({ type: "mask", take: "take-0001", from: 0, to: 5 });
    outbox.add(samples(5));
    expect(outbox.everythingAgain().map((parcel) => parcel.kind)).toEqual(["text", "text", "block"]);
  });

  it("drops sound that belongs to no take", () => {
    const outbox = new Outbox();
    expect(outbox.add(samples(5))).toEqual([]);
    outbox.open(opening);
    outbox.close();
    expect(outbox.add(samples(5))).toEqual([]);
  });
});

describe("Outbox kept beside the page", () => {
  it("hands out each piece of sound once, in one piece a take", () => {
    const outbox = new Outbox();
    outbox.open(opening);
    outbox.note({ type: "mask", take: "take-0001", from: 0, to: 5 });
    outbox.add(samples(10));
    outbox.add(samples(10, 10));
    outbox.acknowledge("take-0001", 4, false);
    const first = outbox.handOut();
    expect(first.pieces).toEqual([{ take: "take-0001", firstFrame: 0, samples: samples(20) }]);
    expect(first.takes).toMatchObject([{ opening, notes: [{ type: "mask" }], acknowledged: 4 }]);
    outbox.add(samples(10, 20));
    expect(outbox.handOut().pieces).toEqual([{ take: "take-0001", firstFrame: 20, samples: samples(10, 20) }]);
    expect(outbox.handOut().pieces).toEqual([]);
    outbox.handOutAnew();
    expect(outbox.handOut().pieces[0]?.samples).toHaveLength(30);
  });

  it("sends what another page left before its own sound, and ends that take", () => {
    const before = new Outbox();
    before.open(opening);
    before.add(samples(10));
    before.add(samples(10, 10));
    before.acknowledge("take-0001", 10, false);
    const { takes, pieces } = before.handOut();
    const after = new Outbox();
    for (const kept of takes) after.restore(kept, pieces);
    expect(after.current).toBe(null);
    expect(after.names).toEqual(["take-0001"]);
    after.open({ ...opening, take: "take-0002" });
    after.add(samples(5));
    const again = after.everythingAgain();
    const kinds = again.map((parcel) => (parcel.kind === "text" ? parcel.message : parcel.kind));
    expect(kinds).toMatchObject([
      { type: "take-open", take: "take-0001", acknowledged: 10 },
      "block",
      { type: "take-close", take: "take-0001", frames: 20 },
      { type: "take-open", take: "take-0002", acknowledged: 0 },
      "block",
    ]);
    expect(again[1]).toMatchObject({ firstFrame: 10, samples: samples(10, 10) });
    expect(after.handOut().pieces.map((piece) => piece.take)).toEqual(["take-0002"]);
  });
});
