import { LevelBar } from "../parts/LevelBar";
import { toldSpoken } from "../parts/words";
import { levelWord } from "../sound/level";
import { openMic } from "../sound/mic";
import { goOn } from "../state/conduct";
import { heardPeakDb, level, mic, microphone, microphones, practice, screen, start, unfinished } from "../state/room";

const WHERE_TO =
  location.protocol === "https:"
    ? "What you play goes to the computer that serves the room, and no further."
    : "Nothing you play leaves this machine.";

export function Welcome() {
  const on = mic.value === "on";
  const ready = on && ["good", "loud"].includes(levelWord(level.value, heardPeakDb.value));
  return (
    <main class="sheet welcome">
      <h1 tabIndex={-1}>Where does the hand land?</h1>
      <p class="lead">
        The room listens while you play, finds each shift, and shows where the finger came to rest, before any
        correction. {WHERE_TO}
      </p>
      <Unfinished />
      <section aria-labelledby="sound-heading">
        <h2 id="sound-heading">The microphone</h2>
        {on ? (
          <>
            <LevelBar />
            <Microphone />
          </>
        ) : (
          <button type="button" class="main-act" disabled={mic.value === "asking"} onClick={() => void openMic()}>
            {mic.value === "asking" ? "The browser asks you now" : "Allow the microphone"}
          </button>
        )}
        {on && (
          <p class="acts">
            <button
              type="button"
              class={ready ? "main-act" : ""}
              onClick={() => {
                screen.value = "tune";
              }}
            >
              Tune the strings
            </button>
            <button
              type="button"
              onClick={() => {
                screen.value = "choose";
              }}
            >
              Straight to the music
            </button>
          </p>
        )}
      </section>
      <section aria-labelledby="care-heading" class="care">
        <h2 id="care-heading">Take care</h2>
        <ul>
          {(start.value?.cautions ?? []).map((line) => (
            <li key={line}>{line}</li>
          ))}
        </ul>
      </section>
    </main>
  );
}

/** Which microphone is heard; another can be chosen where there are several. Its line is kept free until it is known,
 * so that the buttons below do not move away under a finger. */
function Microphone() {
  const [used] = microphones.value;
  if (!used) return <p class="aside">{"\u00a0"}</p>;
  if (microphones.value.length === 1) return <p class="aside">Heard through: {used.name}</p>;
  return (
    <p class="fields">
      <label>
        Heard through{" "}
        <select
          value={used.id}
          onChange={(event) => {
            microphone.value = event.currentTarget.value;
            void openMic();
          }}
        >
          {microphones.value.map((each) => (
            <option key={each.id} value={each.id}>
              {each.name}
            </option>
          ))}
        </select>
      </label>
    </p>
  );
}

/** The practice that the page was in before it was loaded anew. */
function Unfinished() {
  const left = unfinished.value;
  const view = practice.value;
  if (!left || !view) return null;
  return (
    <section aria-labelledby="unfinished-heading" class="unfinished">
      <h2 id="unfinished-heading">Where you were</h2>
      <p>
        <strong>{left.passage.title || "Untitled"}</strong>, shift {left.shift.number}: {left.shift.short}. Stage{" "}
        <em>{view.stage}</em>
        {view.run.length === 0 ? "; no attempt in this run yet." : ", with this run:"}
      </p>
      {view.run.length > 0 && (
        <ol class="run">
          {view.run.map((each, index) => (
            <li key={index}>{toldSpoken(each)}</li>
          ))}
        </ol>
      )}
      <p class="acts">
        <button type="button" class="main-act" disabled={mic.value === "asking"} onClick={() => void goOn()}>
          Go on with shift {left.shift.number}
        </button>
      </p>
    </section>
  );
}
