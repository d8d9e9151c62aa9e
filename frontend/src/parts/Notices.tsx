/** What stands in the way, said plainly: one sentence and its remedy. */
import { openMic } from "../sound/mic";
import { clippedAt, linked, mic, screen, trouble, waitingSeconds, wasLinked } from "../state/room";

const MIC_TROUBLE: Record<string, [string, string]> = {
  refused: ["The microphone was refused.", "Allow it for this page in the browser's address bar, then try again."],
  taken: ["The microphone is used by another program.", "End that program, then try again."],
  missing: ["No microphone was found.", "Plug one in, then try again."],
  lost: ["The microphone was unplugged.", "Plug it in again, then try again."],
  unsupported: ["This browser cannot record.", "Use a current Chromium, Firefox or Safari on this machine."],
};

export function Notices() {
  const micTrouble = MIC_TROUBLE[mic.value];
  const away = wasLinked.value && !linked.value;
  return (
    <div class="notices" role="status" aria-live="polite">
      {away && (
        <p class="notice">
          <strong>The room's server is gone.</strong> The page keeps the sound
          {waitingSeconds.value > 0.5 ? ` (${waitingSeconds.value.toFixed(0)} s so far)` : ""} and goes on when it is
          back.
        </p>
      )}
      {!away && waitingSeconds.value > 2 && (
        <p class="notice">
          <strong>This machine is busy:</strong> verdicts come {waitingSeconds.value.toFixed(0)} s late. Nothing is
          lost; close other programs.
        </p>
      )}
      {micTrouble && (
        <p class="notice">
          <strong>{micTrouble[0]}</strong> {micTrouble[1]}{" "}
          <button type="button" onClick={() => void openMic()}>
            Try again
          </button>
        </p>
      )}
      {screen.value !== "welcome" && performance.now() - clippedAt.value < 3000 && clippedAt.value > 0 && (
        <p class="notice">
          <strong>Too loud for the microphone.</strong> Turn it down or move it away.
        </p>
      )}
      {trouble.value && (
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
    </div>
  );
}
