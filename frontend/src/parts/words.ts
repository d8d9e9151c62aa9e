/** Every word of the page that is not the server's. */
import type { AttemptView, LegWord, NoteView, ToldView, VerdictWord } from "../state/shapes";

export const VERDICT_MARKS: Record<VerdictWord, string> = {
  true: "in place",
  high: "towards the bridge",
  low: "towards the nut",
  corrected: "moved after landing",
  "wrong note": "another note",
  early: "before the beat",
  late: "after the beat",
  unjudged: "not judged",
};

export function signed(value: number, digits: number): string {
  const rounded = value.toFixed(digits);
  if (Number(rounded) === 0) return (0).toFixed(digits);
  return value > 0 ? `+${rounded}` : rounded.replace("-", "\u2212");
}

/** "+2.1 mm, 13 cents high", the whole truth of a landing in one line. */
export function landingLine(cents: number | null, mm: number | null): string {
  if (cents === null) return "";
  const size = Math.abs(cents);
  const side = size < 0.5 ? "" : cents > 0 ? " high" : " low";
  const way = mm === null ? "" : `${signed(mm, 1)} mm, `;
  return `${way}${size.toFixed(0)} ${size.toFixed(0) === "1" ? "cent" : "cents"}${side}`;
}

/** "A\u266d5 27 cents high", "D5 not judged": one note of a double stop. */
export function noteLine(note: NoteView): string {
  const name = pretty(note.target.pitch);
  if (note.verdict === "unjudged" || note.landing_cents === null) return `${name} not judged`;
  const moved = note.verdict === "corrected" && note.settled_cents !== null;
  const then = moved ? `, then ${landingLine(note.settled_cents, null)}` : "";
  return `${name} ${landingLine(note.landing_cents, null)}${then}`;
}

export function attemptLine(attempt: AttemptView): string {
  if (attempt.verdict === "unjudged") return attempt.reason ?? "The sound does not allow a verdict.";
  const parts = attempt.notes?.map(noteLine) ?? [landingLine(attempt.landing_cents, attempt.landing_mm)];
  if (!attempt.notes && attempt.verdict === "corrected" && attempt.settled_cents !== null) {
    parts.push(`then ${landingLine(attempt.settled_cents, null)}`);
  }
  if (attempt.timing_s !== null && (attempt.verdict === "late" || attempt.verdict === "early")) {
    parts.push(`${Math.abs(attempt.timing_s * 1000).toFixed(0)} ms ${attempt.timing_s > 0 ? "late" : "early"}`);
  }
  if (attempt.vibrato.present) parts.push("with vibrato");
  return parts.filter(Boolean).join(", ");
}

export const LEGS: LegWord[] = ["there", "back"];

/** "low back": the verdict with the way that decided; a true one needs both, and one that was not heard has none. */
export function legWord(verdict: string, leg: LegWord | ""): string {
  return leg && verdict !== "true" && verdict !== "unjudged" ? `${verdict} ${leg}` : verdict;
}

interface Legs {
  verdict: string;
  legs: Record<LegWord, AttemptView | null> | null;
  reason: string | null;
}

/** "There 3 cents high, back 24 cents low": both landings, or why there is no verdict. */
export function legsLine(told: Legs): string {
  if (told.verdict === "unjudged") return told.reason ?? "The sound does not allow a verdict.";
  const parts = LEGS.map((leg) => {
    const one = told.legs?.[leg];
    if (!one || one.verdict === "unjudged" || one.landing_cents === null) return `${leg} not judged`;
    const moved = one.verdict === "corrected" && one.settled_cents !== null;
    const then = moved ? `, then ${landingLine(one.settled_cents, null)}` : "";
    const off = one.verdict === "late" || one.verdict === "early";
    const ms = off && one.timing_s !== null ? `, ${Math.abs(one.timing_s * 1000).toFixed(0)} ms ${one.verdict}` : "";
    return `${leg} ${landingLine(one.landing_cents, null)}${then}${ms}`;
  });
  const line = parts.join("; ");
  return line.charAt(0).toUpperCase() + line.slice(1);
}

export function toldSpoken(told: ToldView): string {
  return [legWord(told.verdict, told.leg), landingLine(told.cents, told.mm)].filter(Boolean).join(": ");
}

export const ROMAN = ["", "I", "II", "III", "IV", "V"];

export function pretty(pitch: string): string {
  return pitch
    .replace(/##/g, "\u{1D12A}")
    .replace(/#/g, "\u266f")
    .replace(/(?<=[A-G])b+/g, (flats) => "\u266d".repeat(flats.length));
}

/** Whole seconds until something goes on by itself, at `now` on the clock of `since`, in ms. */
export function secondsLeft(waiting: { seconds: number; since: number }, now: number): number {
  return Math.max(0, Math.ceil(waiting.seconds - Math.max(0, now - waiting.since) / 1000));
}

/** What is said aloud, once for each verdict: not every beat of a count, and no landing before its word. */
export function spokenCue(cue: { word: string; line: string; kind: string }): string {
  if (cue.kind === "landing") return "";
  return cue.kind === "count" ? cue.line : `${cue.word.trim()}. ${cue.line}`;
}
