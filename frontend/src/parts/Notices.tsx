/** What stands in the way, said plainly: one sentence and its remedy. */
import { openMic } from "../sound/mic";
import { stopReference } from "../sound/sounds";
import { act, stopListening } from "../state/conduct";
import {
  linked,
  mic,
  nothingHeard,
  practice,
  screen,
  tooLoud,
  trouble,
  waitingSeconds,
  wasLinked,
} from "../state/room";

const MIC_TROUBLE: Record<string, [string, string]> = {
  refused: ["The microphone was refused.", "Allow it for this page in the browser's address bar, then try again."],
  taken: ["The microphone is used by another program.", "End that program, then try again."],
  missing: ["No microphone was found.", "Plug one in, then try again."],
  lost: ["The microphone was unplugged.", "Plug it in again, then try again."],
  unsupported: ["This browser cannot record.", "Use a current Chromium, Firefox or Safari on this machine."],
};

/** The microphone once more; a run that was interrupted begins again with a take of its own. */
async function tryAgain(): Promise<void> {
  stopReference();
  stopListening();
  if ((await openMic()) && screen.value === "practice") act("again");
}

export function Notices() {
  const micTrouble = MIC_TROUBLE[mic.value];
  const away = wasLinked.value && !linked.value;
  return (
    <div class="notices" role="status" aria-live="polite">
      {away && (
        <p class="notice">
          <strong>The room's server is gone.</strong> The page keeps the sound
          <span aria-hidden="true">
            {waitingSeconds.value > 0.5 ? ` (${waitingSeconds.value.toFixed(0)} s so far)` : ""}
          </span>{" "}
          and goes on when it is back.
        </p>
      )}
      {micTrouble && (
        <p class="notice">
          <strong>{micTrouble[0]}</strong> {micTrouble[1]}{" "}
          <button type="button" onClick={() => void tryAgain()}>
            Try again
          </button>
        </p>
      )}
      {trouble.value && !(away && trouble.value.gone) && (
        <p class="notice">
          <strong>{trouble.value.what}</strong> {trouble.value.hint}{" "}
          <button
            type="button"
            onClick={() => {
              trouble.value = null;
            }}
          >
            Close
          </button>
        </p>
      )}
      {!away &&
        screen.value === "practice" &&
        practice.value?.phase === "play" &&
        nothingHeard.value &&
        mic.value === "on" && (
          <p class="notice">
            <strong>Nothing is heard.</strong> Is it the right microphone, and is it switched on?
          </p>
        )}
      {screen.value !== "welcome" && tooLoud.value && (
        <p class="notice">
          <strong>Too loud for the microphone.</strong> Turn it down or move it away.
        </p>
      )}
      {!away && waitingSeconds.value > 2 && (
        <p class="notice">
          <strong>This machine is busy:</strong> verdicts come late
          <span aria-hidden="true"> (by {waitingSeconds.value.toFixed(0)} s)</span>. What was recorded is kept and
          judged; close other programs.
        </p>
      )}
    </div>
  );
}
