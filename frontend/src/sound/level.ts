/** Level of the microphone, enough to say: too quiet, good, too loud. Full scale is 0 dB. */

export interface Level {
  rmsDb: number;
  peakDb: number;
  clipped: boolean;
}

export const SILENCE_DB = -100;
/** Peaks below this are no playing. */
export const SILENT_DB = -70;
const CLIP = 32700;

export function measureLevel(samples: Int16Array): Level {
  let sum = 0;
  let peak = 0;
  let clips = 0;
  for (const sample of samples) {
    const size = Math.abs(sample);
    sum += sample * sample;
    if (size > peak) peak = size;
    if (size >= CLIP) clips += 1;
  }
  const rms = samples.length ? Math.sqrt(sum / samples.length) : 0;
  return { rmsDb: toDb(rms), peakDb: toDb(peak), clipped: clips > 2 };
}

function toDb(value: number): number {
  return value > 0 ? Math.max(SILENCE_DB, 20 * Math.log10(value / 32768)) : SILENCE_DB;
}

/** What the player should know about it, in words. */
export function levelWord(level: Level, heardPeakDb: number): "silent" | "quiet" | "good" | "loud" {
  if (level.clipped || level.peakDb > -1) return "loud";
  if (heardPeakDb < SILENT_DB) return "silent";
  return heardPeakDb < -42 ? "quiet" : "good";
}
