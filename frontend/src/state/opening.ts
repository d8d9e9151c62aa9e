/** The beginning of a visit, and keeping the screen awake. */
import { askPassage, askStart } from "./ask";
import { attempt } from "./conduct";
import * as room from "./room";
import type { PassageView } from "./shapes";

export async function loadStart(): Promise<void> {
  room.start.value = await attempt(askStart());
}

export function showPassage(view: PassageView | null): void {
  if (!view) return;
  room.passage.value = view;
  room.through.value = null;
  room.screen.value = "passage";
}

export async function openPassage(id: string): Promise<void> {
  showPassage(await attempt(askPassage(id)));
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

document.addEventListener("visibilitychange", () => {
  lock = null;
  if (room.screen.value === "practice") void keepAwake(true);
});
