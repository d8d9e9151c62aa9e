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
  /** Frames before this one were handed out to be kept beside the page. */
  handedOut: number;
}

/** A take as it is kept beside the page, without its sound. */
export interface KeptTake {
  opening: TakeOpening;
  notes: object[];
  acknowledged: number;
}

/** Sound of a take in one piece. */
export interface KeptPiece {
  take: string;
  firstFrame: number;
  samples: Int16Array;
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
      handedOut: 0,
    };
    this.takes.push(held);
    return [openingOf(held)];
  }

  /** Names of the takes of which something is still here. */
  get names(): string[] {
    return this.takes.map((held) => held.opening.take);
  }

  /** What a page before this one had not got rid of: its takes end where their sound ends. */
  restore(kept: KeptTake, pieces: KeptPiece[]): void {
    const last = pieces.at(-1);
    this.takes.push({
      slot: this.nextSlot++,
      opening: kept.opening,
      notes: kept.notes.map((message) => ({ atFrame: 0, message })),
      blocks: pieces.map(({ firstFrame, samples }) => ({ firstFrame, samples })),
      frames: last ? last.firstFrame + last.samples.length : kept.acknowledged,
      acknowledged: kept.acknowledged,
      closing: true,
      handedOut: Number.POSITIVE_INFINITY,
    });
  }

  /** The takes that are here, and their sound that was not handed out before; it counts as handed out now. */
  handOut(): { takes: KeptTake[]; pieces: KeptPiece[] } {
    const pieces = this.takes.flatMap((held) => {
      const fresh = held.blocks.filter((block) => block.firstFrame >= held.handedOut);
      const [first] = fresh;
      if (!first) return [];
      const samples = new Int16Array(fresh.reduce((sum, block) => sum + block.samples.length, 0));
      for (const block of fresh) samples.set(block.samples, block.firstFrame - first.firstFrame);
      held.handedOut = first.firstFrame + samples.length;
      return [{ take: held.opening.take, firstFrame: first.firstFrame, samples }];
    });
    const takes = this.takes.map(({ opening, notes, acknowledged }) => ({
      opening,
      notes: notes.map((note) => note.message),
      acknowledged,
    }));
    return { takes, pieces };
  }

  /** Nothing of what was handed out is kept any more. */
  handOutAnew(): void {
    for (const held of this.takes) if (held.handedOut < Number.POSITIVE_INFINITY) held.handedOut = 0;
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
  return {
    kind: "text",
    message: { type: "take-open", slot: held.slot, acknowledged: held.acknowledged, ...held.opening },
  };
}

function closingOf(held: Held): Parcel {
  return { kind: "text", message: { type: "take-close", take: held.opening.take, frames: held.frames } };
}
