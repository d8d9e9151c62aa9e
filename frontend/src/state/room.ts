/** What the page knows, as signals. */
import { signal } from "@preact/signals";
import type { Level } from "../sound/level";
import type {
  AttemptView,
  LegWord,
  PassageView,
  PracticeView,
  ShiftView,
  StageView,
  StartView,
  ThroughView,
  Trouble,
} from "./shapes";

export type Screen = "welcome" | "tune" | "choose" | "passage" | "practice" | "after";
export type MicState = "off" | "asking" | "on" | "refused" | "taken" | "missing" | "lost" | "unsupported";

export interface Landing {
  cents: number;
  mm: number | null;
  at: number;
  /** There and back: which of the two. */
  leg: LegWord | "";
}

export interface Told {
  verdict: string;
  attempt: AttemptView | null;
  /** There and back: the way that decides, and both landings. */
  leg: LegWord | "";
  legs: Record<LegWord, AttemptView | null> | null;
  /** Why there is no verdict, where a way was not heard. */
  reason: string | null;
  ownEarRight: boolean | null;
  take: string | null;
}

export interface StringHeard {
  string: number;
  hz: number;
  se: number;
  off: number;
}

export const screen = signal<Screen>("welcome");
export const start = signal<StartView | null>(null);
export const passage = signal<PassageView | null>(null);
export const shiftNumber = signal<number>(0);
export const stage = signal<StageView | null>(null);
export const practice = signal<PracticeView | null>(null);
/** What was being practised when the page was loaded anew; null where there is nothing to go on with. */
export const unfinished = signal<{ passage: PassageView; shift: ShiftView } | null>(null);
/** Landings whose marks are drawn while their word is still open: one, or the way there and then the way back. */
export const landings = signal<Landing[]>([]);
export const told = signal<Told | null>(null);
export const note = signal<{ cents: number; octaves: number; good: boolean } | null>(null);
export const strings = signal<Record<number, StringHeard>>({});
/** What a run through the passage brought: null before one, undefined while it sounds or is judged. */
export const through = signal<ThroughView[] | null | "playing" | "judging">(null);
export const mic = signal<MicState>("off");
export const level = signal<Level>({ rmsDb: -100, peakDb: -100, clipped: false });
export const heardPeakDb = signal(-100);
/** Clipped within the last seconds; nothing heard for many seconds. */
export const tooLoud = signal(false);
export const nothingHeard = signal(false);
export const linked = signal(false);
export const wasLinked = signal(false);
export const waitingSeconds = signal(0);
export const trouble = signal<Trouble | null>(null);
/** How many answers about the music are waited for: a long piece takes seconds. */
export const reading = signal(0);
/** How many takes were kept since the page was opened: the record is read again. */
export const takesKept = signal(0);
export const waiting = signal<{ seconds: number; since: number } | null>(null);
/** The window's width, once it has settled: drawings are made to it. */
export const windowWidth = signal(typeof window === "undefined" ? 0 : window.innerWidth);
/** The beat of the bar that sounds, counted from 0. */
export const metronome = signal<number | null>(null);
export const practisedSince = signal<number | null>(null);

function stored<T>(name: string, usual: T) {
  let value = usual;
  try {
    const text = localStorage.getItem(`truestop.${name}`);
    if (text !== null) value = JSON.parse(text) as T;
  } catch {
    value = usual;
  }
  const kept = signal<T>(value);
  kept.subscribe((now) => {
    try {
      localStorage.setItem(`truestop.${name}`, JSON.stringify(now));
    } catch {
      // a browser that keeps nothing still works
    }
  });
  return kept;
}

export const theme = stored<"light" | "dark" | "system">("theme", "system");
export const traceShown = stored<boolean>("trace", true);
export const soundsOn = stored<boolean>("sounds", false);
export const ownEarOn = stored<boolean>("own-ear", false);
export const byItself = stored<boolean>("by-itself", true);
export const tempoBpm = stored<number>("tempo", 60);
export const latencyMs = stored<number | null>("latency", null);
export const cautionsRead = stored<boolean>("cautions-read", false);
/** The microphone that the player chose; the browser's usual one where empty. */
export const microphone = stored<string>("microphone", "");
export const microphones = signal<{ id: string; name: string }[]>([]);
export const mirrored = stored<boolean>("mirrored", false);
