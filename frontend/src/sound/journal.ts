/**
 * Sound that the server has not acknowledged, kept in the browser's own database, so that it outlives the page. Nothing
 * is written while the server keeps up; where the browser keeps nothing, the page works without.
 */
import type { KeptPiece, KeptTake, Outbox } from "./outbox";

const NAME = "truestop";
const STORE = "sound";
/** Seconds of sound that wait for the server before anything is written, and between two writings. */
const BEHIND_S = 0.5;
const EVERY_MS = 500;

export class Journal {
  private database: IDBDatabase | null = null;
  private writtenAt = Number.NEGATIVE_INFINITY;
  private holdsSomething = false;

  constructor(private readonly room: string) {}

  /** Opens the database and gives back what a page before this one left for the room. */
  async open(): Promise<{ kept: KeptTake; pieces: KeptPiece[] }[]> {
    try {
      const opening = indexedDB.open(NAME, 1);
      opening.onupgradeneeded = () => opening.result.createObjectStore(STORE);
      this.database = await done(opening);
      const store = this.database.transaction(STORE).objectStore(STORE);
      const entries = (await done(store.getAll(this.range()))) as (KeptTake | KeptPiece)[];
      const pieces = entries.filter((entry): entry is KeptPiece => "samples" in entry);
      const takes = entries.filter((entry): entry is KeptTake => "opening" in entry);
      this.holdsSomething = takes.length > 0;
      return takes.map((kept) => ({ kept, pieces: pieces.filter((piece) => piece.take === kept.opening.take) }));
    } catch {
      this.database = null;
      return [];
    }
  }

  /** Writes down what waits, when it is much and was not written lately; forgets all when the server has caught up. */
  follow(outbox: Outbox, now: number): void {
    if (!this.database) return;
    if (outbox.waitingSeconds < BEHIND_S) this.forget(outbox);
    else if (now - this.writtenAt >= EVERY_MS) this.write(outbox, now);
  }

  private write(outbox: Outbox, now: number): void {
    this.writtenAt = now;
    this.holdsSomething = true;
    const { takes, pieces } = outbox.handOut();
    this.change((store) => {
      for (const kept of takes) store.put(kept, [this.room, kept.opening.take, -1]);
      for (const piece of pieces) store.put(piece, [this.room, piece.take, piece.firstFrame]);
    });
  }

  private forget(outbox: Outbox): void {
    if (!this.holdsSomething) return;
    this.holdsSomething = false;
    outbox.handOutAnew();
    this.change((store) => store.delete(this.range()));
  }

  private change(how: (store: IDBObjectStore) => void): void {
    try {
      how(this.database?.transaction(STORE, "readwrite").objectStore(STORE) as IDBObjectStore);
    } catch {
      this.database = null;
    }
  }

  private range(): IDBKeyRange {
    return IDBKeyRange.bound([this.room], [this.room, []]);
  }
}

function done<T>(request: IDBRequest<T>): Promise<T> {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}
