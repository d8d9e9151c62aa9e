/** Which room this page is: what was practised, and the sound that was not sent yet, lie under the room's name. */

const NAME = "truestop.room";
/** A page that is being left, or a tab that was just closed, may still hold its room for a moment. */
const TRIES = 8;
const PAUSE_MS = 250;

/** The room of this tab before it was loaded anew; else the last one that no tab holds any more; else a new one. */
export async function ownRoom(): Promise<string> {
  const own = read(() => sessionStorage);
  const last = read(() => localStorage);
  if (own && (await hold(own, TRIES))) return keep(own);
  if (last && last !== own && navigator.locks && (await hold(last, TRIES / 2))) return keep(last);
  const fresh = crypto.randomUUID();
  await hold(fresh, 1);
  return keep(fresh);
}

/** Whether this page holds the room from now on; a tab that was copied finds its room held by the other one. */
async function hold(name: string, tries: number): Promise<boolean> {
  if (!navigator.locks) return true;
  for (let left = tries; left > 0; left -= 1) {
    if (await holdNow(name)) return true;
    if (left > 1) await new Promise((resolve) => setTimeout(resolve, PAUSE_MS));
  }
  return false;
}

function holdNow(name: string): Promise<boolean> {
  return new Promise((resolve) => {
    const answer = (lock: Lock | null) => {
      resolve(lock !== null);
      return lock ? new Promise<void>(() => undefined) : undefined;
    };
    navigator.locks.request(`${NAME}.${name}`, { ifAvailable: true }, answer).catch(() => resolve(false));
  });
}

function keep(name: string): string {
  for (const where of [() => sessionStorage, () => localStorage]) {
    try {
      where().setItem(NAME, name);
    } catch {
      // a browser that keeps nothing still works
    }
  }
  return name;
}

function read(where: () => Storage): string | null {
  try {
    return where().getItem(NAME);
  } catch {
    return null;
  }
}
