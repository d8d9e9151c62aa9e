import { useEffect, useRef } from "preact/hooks";
import { Notices } from "./parts/Notices";
import { After } from "./screens/After";
import { Choose } from "./screens/Choose";
import { Passage } from "./screens/Passage";
import { Practice } from "./screens/Practice";
import { Tune } from "./screens/Tune";
import { Welcome } from "./screens/Welcome";
import { passage, reading, type Screen, screen } from "./state/room";

const SCREENS = { welcome: Welcome, tune: Tune, choose: Choose, passage: Passage, practice: Practice, after: After };
const WAY: [Screen, string][] = [
  ["welcome", "Sound"],
  ["tune", "Strings"],
  ["choose", "Music"],
  ["passage", "Passage"],
  ["after", "Record"],
];

export function App() {
  const Shown = SCREENS[screen.value];
  const practising = screen.value === "practice";
  const first = useRef(true);
  const now = screen.value;
  useEffect(() => {
    const name = WAY.find(([each]) => each === now)?.[1] ?? "Practice";
    document.title = `${name} – truestop`;
    if (!first.current) {
      window.scrollTo(0, 0);
      document.querySelector<HTMLElement>("main h1")?.focus({ preventScroll: true });
    }
    first.current = false;
  }, [now]);
  return (
    <>
      <Notices />
      {!practising && <Way />}
      <Shown />
      <div role="status">
        {reading.value > 0 && !practising && <p class="reading">The music is being read and fingered.</p>}
      </div>
    </>
  );
}

function Way() {
  return (
    <header class="way">
      <p class="wordmark">truestop</p>
      <nav aria-label="The way through the room">
        <ol>
          {WAY.map(([name, label]) => (
            <li key={name}>
              <button
                type="button"
                aria-current={screen.value === name ? "page" : undefined}
                disabled={(name === "passage" || name === "after") && passage.value === null}
                onClick={() => {
                  screen.value = name;
                }}
              >
                {label}
              </button>
            </li>
          ))}
        </ol>
      </nav>
    </header>
  );
}
