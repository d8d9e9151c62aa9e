/** The open strings, one after the other, in any order: measured, and offered as the tuning system. */
import { useEffect } from "preact/hooks";
import { pretty, ROMAN, signed } from "../parts/words";
import { openMic } from "../sound/mic";
import { playReference } from "../sound/sounds";
import { askSettings, askStrings, stringToneUrl } from "../state/ask";
import { attempt, listenToStrings, report, stopListening, takeSettings } from "../state/conduct";
import { readAgain } from "../state/opening";
import { mic, screen, start, strings } from "../state/room";
import type { RoomSettings } from "../state/shapes";

export function Tune() {
  const settings = start.value?.settings;
  const names = start.value?.open_strings ?? [];
  const hearing = mic.value === "on";
  const instrument = settings?.instrument;
  useEffect(() => {
    if (!hearing) return;
    listenToStrings();
    return stopListening;
  }, [hearing, instrument]);
  const heard = strings.value;
  const count = Object.keys(heard).length;
  const keep = async (system: string) => {
    const hz = names.map((_, index) => heard[index + 1]?.hz ?? null);
    const kept = await attempt(system === "strings" ? askStrings(hz) : askSettings({ intonation: system }));
    if (!kept) return;
    takeSettings(kept);
    void readAgain();
    screen.value = "choose";
  };
  return (
    <main class="sheet tune">
      <h1 tabIndex={-1}>Tune the open strings</h1>
      <p class="lead">Bow each string by itself, long and even, in any order. The room measures where it stands.</p>
      <p class="fields">
        <label>
          Instrument{" "}
          <select value={instrument} onChange={(event) => void change({ instrument: event.currentTarget.value })}>
            {Object.keys(start.value?.instruments ?? {}).map((name) => (
              <option key={name} value={name}>
                {name}
              </option>
            ))}
          </select>
        </label>
        <label>
          A4{" "}
          <input
            type="number"
            min={380}
            max={470}
            step={0.5}
            value={settings?.a4_hz ?? 440}
            onChange={(event) => void change({ a4_hz: Number(event.currentTarget.value) })}
          />{" "}
          Hz
        </label>
      </p>
      {!hearing && (
        <p class="acts">
          <button type="button" class="main-act" disabled={mic.value === "asking"} onClick={() => void openMic()}>
            {mic.value === "asking" ? "The browser asks you now" : "Allow the microphone"}
          </button>
        </p>
      )}
      <ol class="strings">
        {names.map((name, index) => {
          const found = heard[index + 1];
          return (
            <li key={name} class={found ? "heard" : ""}>
              <span class="string-name">
                {ROMAN[index + 1]} <strong>{pretty(name)}</strong>
              </span>
              <Off cents={found?.off ?? null} />
              <span class="string-hz">
                {found ? (
                  <>
                    {found.hz.toFixed(2)} Hz, {signed(found.off, 1)} cents
                  </>
                ) : (
                  "not heard yet"
                )}
              </span>
              <button
                type="button"
                aria-label={`Hear ${name}`}
                onClick={() => playReference(stringToneUrl(index + 1)).catch(report)}
              >
                Hear
              </button>
            </li>
          );
        })}
      </ol>
      <p class="acts">
        <button type="button" class="main-act" disabled={count === 0} onClick={() => void keep("strings")}>
          Use my strings as they are
        </button>
        <button type="button" onClick={() => void keep("pythagorean")}>
          Pure fifths from A
        </button>
        <button type="button" onClick={() => void keep("equal")}>
          Equal, as a piano
        </button>
      </p>
      <p class="aside">
        With your own strings as the tuning system, a note that has an open string's name is judged against that string.
      </p>
    </main>
  );
}

function Off({ cents }: { cents: number | null }) {
  const at = cents === null ? 0 : Math.max(-50, Math.min(50, cents));
  return (
    <svg class="off-line" viewBox="-54 -12 108 24" aria-hidden="true">
      <path class="off-scale" d="M-50 0H50M-50 -5V5M-25 -3V3M25 -3V3M50 -5V5M0 -9V9" />
      {cents !== null && <path class="off-mark" d={`M${at} -9L${at + 6} 0L${at} 9L${at - 6} 0Z`} />}
    </svg>
  );
}

async function change(part: Partial<RoomSettings>): Promise<void> {
  const kept = await attempt(askSettings(part));
  if (!kept) return;
  takeSettings(kept);
  await readAgain("instrument" in part);
}
