/** The microphone's level as a bar with a word. */
import { levelWord } from "../sound/level";
import { heardPeakDb, level } from "../state/room";

const WORDS = {
  silent: "Nothing is heard yet. Play a note.",
  quiet: "Quiet. Move the microphone closer, or turn it up.",
  good: "Good.",
  loud: "Too loud. Turn the microphone down, or move it away.",
};

export function LevelBar() {
  const word = levelWord(level.value, heardPeakDb.value);
  const share = (db: number) => Math.max(0, Math.min(100, ((db + 72) / 72) * 100));
  return (
    <div class="level">
      <meter
        class="visually-hidden"
        min={0}
        max={100}
        value={Math.round(share(level.value.rmsDb))}
        aria-label="Level of the microphone"
      />
      <svg viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">
        <rect class="level-room" x="0" y="0" width="100" height="10" />
        <rect class="level-now" x="0" y="0" width={share(level.value.rmsDb)} height="10" />
        <rect class="level-peak" x={share(heardPeakDb.value)} y="0" width="0.7" height="10" />
      </svg>
      <p class="level-word">{WORDS[word]}</p>
    </div>
  );
}
