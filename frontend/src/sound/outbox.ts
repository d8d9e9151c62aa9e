/**
 * The page's half of the promise that no sound is lost: everything that belongs to a take stays here until the server
 * says how many frames it has on disk, and is sent again after a reconnection.
 */
import type { TakeOpening } from "../wire";

interface Block {
  firstFrame: number;
  samples: Int16Array;
}

interface Held {
  slot: number;
  opening: TakeOpening;
  /** Small messages that must arrive before the frames that follow them. */
  notes: { atFrame: number; message: object }[];
  blocks: Block[];
  frames: number;
  acknowledged: number;
  closing: boolean;
}

export type Parcel =
  | { kind: "text"; message: object }
  | { kind: "block"; slot: number; firstFrame: number; samples: Int16Array };

export class Outbox {
  private takes: Held[] = [];
  private nextSlot = 1;

  /** Begins a take; blocks that are added from now on belong to it. */
  open(opening: TakeOpening): Parcel[] {
    const held: Held = {
      slot: this.nextSlot++,
      opening,
      notes: [],
      blocks: [],
      frames: 0,
      acknowledged: 0,
      closing: false,
    };
    this.takes.push(held);
    return [openingOf(held)];
  }

  get current(): string | null {
    const last = this.takes.at(-1);
    return last && !last.closing ? last.opening.take : null;
  }

  /** Frames of the current take so far. */
  get frames(): number {
    return this.takes.at(-1)?.frames ?? 0;
  }

  /** Seconds of sound that the server has not acknowledged. */
  get waitingSeconds(): number {
    return this.takes.reduce((sum, held) => sum + (held.frames - held.acknowledged) / held.opening.sampleRate, 0);
  }

  add(samples: Int16Array): Parcel[] {
    const held = this.takes.at(-1);
    if (!held || held.closing || samples.length === 0) return [];
    const block = { firstFrame: held.frames, samples };
    held.blocks.push(block);
    held.frames += samples.length;
    return [{ kind: "block", slot: held.slot, ...block }];
  }

  note(message: object): Parcel[] {
    const held = this.takes.at(-1);
    if (!held || held.closing) return [];
    held.notes.push({ atFrame: held.frames, message });
    return [{ kind: "text", message }];
  }

  close(): Parcel[] {
    const held = this.takes.at(-1);
    if (!held || held.closing) return [];
    held.closing = true;
    return [closingOf(held)];
  }

  acknowledge(take: string, frames: number, closed: boolean): void {
    const held = this.takes.find((each) => each.opening.take === take);
    if (!held) return;
    held.acknowledged = Math.max(held.acknowledged, frames);
    held.blocks = held.blocks.filter((block) => block.firstFrame + block.samples.length > held.acknowledged);
    if (closed) this.takes = this.takes.filter((each) => each !== held);
  }

  /** Everything that a server which knows nothing of this connection must hear, oldest first. */
  everythingAgain(): Parcel[] {
    return this.takes.flatMap((held) => [
      openingOf(held),
      ...held.notes.map((note): Parcel => ({ kind: "text", message: note.message })),
      ...held.blocks.map((block): Parcel => ({ kind: "block", slot: held.slot, ...block })),
      ...(held.closing ? [closingOf(held)] : []),
    ]);
  }
}

function openingOf(held: Held): Parcel {
  return { kind: "text", message: { type: "take-open", slot: held.slot, ...held.opening } };
}

function closingOf(held: Held): Parcel {
  return { kind: "text", message: { type: "take-close", take: held.opening.take, frames: held.frames } };
}
