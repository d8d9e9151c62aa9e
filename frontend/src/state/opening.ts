/** The beginning of a visit, and keeping the screen awake. */
import { askInstrument, askPassage, askStart } from "./ask";
import { attempt, loadStage, report } from "./conduct";
import * as room from "./room";
import type { PassageView } from "./shapes";

/** What the room begins with; a trouble that is being told stays. */
export async function loadStart(): Promise<void> {
  try {
    room.start.value = await askStart();
  } catch (error) {
    report(error);
  }
}

export function showPassage(view: PassageView | null): void {
  if (!view) return;
  room.passage.value = view;
  room.through.value = null;
  room.screen.value = "passage";
}

export async function openPassage(id: string): Promise<void> {
  showPassage(await whileReading(askPassage(id)));
}

/** An answer about the music; that it is waited for is said meanwhile. */
export async function whileReading<T>(asked: Promise<T>): Promise<T | null> {
  room.reading.value += 1;
  try {
    return await attempt(asked);
  } finally {
    room.reading.value -= 1;
  }
}

/** The open passage as it reads with other choices, for another instrument, or engraved to another width. */
export async function readAgain(instrument = false): Promise<void> {
  const open = room.passage.value;
  if (!open) return;
  const view = await whileReading(instrument ? askInstrument(open.id) : askPassage(open.id));
  if (view && room.passage.value?.id === view.id) room.passage.value = view;
}

let lock: WakeLockSentinel | null = null;

/** The screen stays on while somebody practises. */
export async function keepAwake(on: boolean): Promise<void> {
  try {
    if (on && document.visibilityState === "visible") lock ??= await navigator.wakeLock?.request("screen");
    else if (!on) {
      await lock?.release();
      lock = null;
    }
  } catch {
    lock = null;
  }
}

let resized: ReturnType<typeof setTimeout> | undefined;

/** A phone or tablet that was turned: the music is engraved to the new width. */
window.addEventListener("resize", () => {
  clearTimeout(resized);
  resized = setTimeout(() => {
    if (window.innerWidth === room.windowWidth.value) return;
    room.windowWidth.value = window.innerWidth;
    void readAgain();
    void loadStage();
  }, 300);
});

document.addEventListener("visibilitychange", () => {
  lock = null;
  if (room.screen.value === "practice") void keepAwake(true);
});
