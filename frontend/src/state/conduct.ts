/** What the page does when the server says something, and what it says when the player does. */
import { batch } from "@preact/signals";
import { type Level, levelWord, SILENT_DB } from "../sound/level";
import { closeTake, connect, openTake, type Said, say } from "../sound/link";
import { audioContext, openMic, wakeSound } from "../sound/mic";
import { collected, playReference, soundVerdict, startClick, stopClick, stopReference } from "../sound/sounds";
import { askPassage, askStage, Refused, toneUrl } from "./ask";
import { ownRoom } from "./ownRoom";
import { trace } from "./pitchTrace";
import { workingSince } from "./rest";
import * as room from "./room";
import type { KeptSettings, LegWord, PracticeView, ThroughView, VerdictWord } from "./shapes";

/** A count goes on for whole bars, and for so many beats at least. */
const COUNT_IN_BEATS = 3;
const LOUD_SHOWN_MS = 3000;
const SILENT_AFTER_MS = 10_000;

let openFor = "";
let currentTake: string | null = null;
let tonesAsked = 0;
let warned = 0;
/** When the last practice ended. */
let leftAt: number | null = null;

export function report(error: unknown): void {
  room.trouble.value =
    error instanceof Refused ? error.trouble : { what: "Something went wrong on the page.", hint: "Reload it." };
}

export async function attempt<T>(asked: Promise<T>): Promise<T | null> {
  try {
    const answer = await asked;
    room.trouble.value = null;
    return answer;
  } catch (error) {
    report(error);
    return null;
  }
}

/** What the server made of a choice: the settings, and the open strings that follow from them. */
export function takeSettings(settings: KeptSettings): void {
  if (room.start.value) room.start.value = { ...room.start.value, settings, open_strings: settings.open_strings };
}

let clippedAt = Number.NEGATIVE_INFINITY;
let soundedAt = Number.NEGATIVE_INFINITY;

function watchLevel(level: Level, now: number): void {
  if (levelWord(level, 0) === "loud") clippedAt = now;
  if (level.peakDb > SILENT_DB || soundedAt === Number.NEGATIVE_INFINITY) soundedAt = now;
  room.tooLoud.value = now - clippedAt < LOUD_SHOWN_MS;
  room.nothingHeard.value = now - soundedAt > SILENT_AFTER_MS;
}

export async function begin(): Promise<void> {
  connect(await ownRoom(), {
    server: heardServer,
    link: (up, refused) => {
      room.linked.value = up;
      if (up) room.wasLinked.value = true;
      if (up && room.trouble.value?.gone) room.trouble.value = null;
      if (up && room.stage.value === null) void loadStage();
      if (refused)
        room.trouble.value = {
          what: "The room did not let this page in.",
          hint: "Open it with the address that 'truestop room' prints.",
        };
    },
    level: (level, waitingFor) => {
      batch(() => {
        room.level.value = level;
        room.heardPeakDb.value = Math.max(level.peakDb, room.heardPeakDb.value - 0.15);
        watchLevel(level, performance.now());
        if (Math.abs(waitingFor - room.waitingSeconds.value) > 0.2) room.waitingSeconds.value = waitingFor;
      });
    },
    gap: (frames) => {
      const rate = audioContext()?.sampleRate ?? 44100;
      if (frames > rate / 20 && performance.now() - warned > 10_000) {
        warned = performance.now();
        room.trouble.value = {
          what: `The browser dropped ${Math.round((1000 * frames) / rate)} ms of sound.`,
          hint: "Close other programs; landings in that moment stay unjudged.",
        };
      }
    },
    unsent: notSaid,
    samples: collected,
  });
}

/** What the player asked for while the server was gone: ending needs no answer, beginning does. */
function notSaid(message: Said): void {
  if (message.act === "leave") leavePractice();
  else if (message.type === "begin" || message.type === "go-on") {
    batch(() => {
      room.screen.value = "passage";
      room.trouble.value = {
        what: "Practice cannot begin without the server.",
        hint: "Choose the shift again when it is back.",
      };
    });
  }
}

type Message = Record<string, unknown>;

function heardServer(message: Message): void {
  HEARD[message.type as string]?.(message);
}

const HEARD: Record<string, (message: Message) => void> = {
  welcome: (message) => void offerToGoOn(message.unfinished as { passage: string; shift: number } | null),
  practice: (message) => void showPractice(message as unknown as PracticeView),
  order: (message) => ORDERS[message.order as string]?.(message),
  pitch: (message) => trace.add(message.t as number[], message.c as (number | null)[], performance.now()),
  landing: (message) => {
    const leg = (message.leg ?? "") as LegWord | "";
    const landing = { cents: message.cents as number, mm: message.mm as number | null, at: message.at as number, leg };
    batch(() => {
      room.told.value = null;
      room.landings.value = [...(leg === "back" ? room.landings.value : []), landing];
    });
    measureDrawing(message.captured as number | null);
  },
  told: (message) => {
    const attempt = message.attempt as never;
    batch(() => {
      room.told.value = {
        verdict: message.verdict as string,
        attempt,
        leg: (message.leg ?? "") as LegWord | "",
        legs: message.legs as never,
        reason: message.reason as string | null,
        ownEarRight: message.own_ear_right as boolean | null,
        take: currentTake,
      };
      room.landings.value = [];
    });
    if (message.sound) soundVerdict(message.verdict as VerdictWord);
  },
  note: (message) => {
    room.note.value = {
      cents: message.cents as number,
      octaves: message.octaves as number,
      good: message.good as boolean,
    };
  },
  string: (message) => {
    const heard = message as unknown as room.StringHeard;
    room.strings.value = { ...room.strings.value, [heard.string]: heard };
  },
  through: (message) => {
    room.through.value = message.shifts as ThroughView[];
  },
  kept: () => {
    room.takesKept.value += 1;
  },
  waiting: (message) => {
    room.waiting.value = { seconds: message.seconds as number, since: performance.now() };
  },
  trouble: (message) => {
    room.trouble.value = { what: message.what as string, hint: message.hint as string };
  },
};

const PX_PER_MM = 5.5;

/** The frame that the stage's music is engraved for, in mm: narrow lines on a phone, so that the notes stay large. */
function stageFrame(listening: PracticeView["listening"]): [number, number] {
  const [width, height] = [window.innerWidth, window.innerHeight];
  const beside = width > height && (width >= 900 || height <= 560) && listening !== "passage";
  const [wide, high] = beside ? [width / 2, 0.4 * height] : [width, 0.22 * height];
  return [Math.round(wide / PX_PER_MM / 10) * 10, Math.round(high / PX_PER_MM)];
}

async function showPractice(view: PracticeView): Promise<void> {
  const before = room.practice.value;
  room.practice.value = view;
  if (view.phase !== before?.phase || view.moment !== before?.moment) {
    if (view.phase !== "met" && view.phase !== "stopped" && view.phase !== "read") room.waiting.value = null;
  }
  if (room.screen.value !== "practice") return;
  const another = view.stage !== before?.stage || view.way !== before?.way;
  if (another || view.run.length === 0) {
    batch(() => {
      room.told.value = null;
      room.landings.value = [];
      room.note.value = null;
    });
  }
  if (another || room.stage.value === null) {
    await loadStage();
  }
  if (view.phase === "done" && room.screen.value === "practice") leavePractice();
}

/** The present stage's notes and words; an answer that comes too late is dropped. */
export async function loadStage(): Promise<void> {
  const [passage, view] = [room.passage.value, room.practice.value];
  if (!passage || !view) return;
  const stage = await attempt(
    askStage(passage.id, room.shiftNumber.value, view.stage, view.way, stageFrame(view.listening)),
  );
  const now = room.practice.value;
  if (stage && now?.stage === view.stage && now.way === view.way) room.stage.value = stage;
}

const ORDERS: Record<string, (message: Message) => void> = {
  listen: (message) => {
    const key = `${message.stage}/${message.since}`;
    if (key === openFor && currentTake) return;
    openFor = key;
    trace.clear();
    currentTake = openTake("practice", { stage: message.stage, listening: message.listening, since: message.since });
  },
  rest: () => {
    stopClick();
    endTake();
  },
  tone: () => void playTone(),
  count: (message) => {
    const bar = message.bar as number;
    const pulse = {
      bpm: message.bpm as number,
      countIn: bar * Math.ceil(COUNT_IN_BEATS / bar),
      bar,
      length: message.length as number,
      arrivals: message.arrivals as number[],
    };
    startClick(pulse, (room.latencyMs.value ?? 0) / 1000, () => say({ type: "counted" }));
  },
};

function endTake(): void {
  openFor = "";
  currentTake = null;
  closeTake();
}

/** From the capture of the block that decided a landing to the frame in which its mark is drawn. */
function measureDrawing(capturedAt: number | null): void {
  if (capturedAt === null) return;
  requestAnimationFrame(() => {
    const drawn = new MessageChannel();
    drawn.port1.onmessage = () => {
      const start = Math.max(0, capturedAt - performance.timeOrigin);
      performance.measure("landing drawn", { start, end: performance.now() });
    };
    drawn.port2.postMessage(null);
  });
}

async function playTone(): Promise<void> {
  tonesAsked += 1;
  const mine = tonesAsked;
  const passage = room.passage.value;
  const practice = room.practice.value;
  try {
    if (passage) await playReference(toneUrl(passage.id, room.shiftNumber.value, practice?.stage ?? "hear"));
  } catch (error) {
    report(error);
  }
  if (mine === tonesAsked) say({ type: "tone-ended" });
}

// What the player does ------------------------------------------------------------------------------------------------

/** A shift from its first stage; the microphone is asked for where it is not on yet. */
export async function startPractice(shift: number): Promise<void> {
  const passage = room.passage.value;
  if (!passage || !(await heardThrough())) return;
  batch(() => {
    room.practice.value = null;
    enterPractice(shift);
  });
  say({ type: "begin", passage: passage.id, shift, settings: practiceSettings() });
}

/** Whether the microphone is on, after asking for it where it was not. */
async function heardThrough(): Promise<boolean> {
  return room.mic.value === "on" || (await openMic());
}

function enterPractice(shift: number): void {
  room.shiftNumber.value = shift;
  room.stage.value = null;
  room.told.value = null;
  room.landings.value = [];
  room.unfinished.value = null;
  room.screen.value = "practice";
  room.practisedSince.value = workingSince(room.practisedSince.value, leftAt, Date.now());
}

/** A page that was loaded anew in mid-practice: what it was about is read, so that one touch goes on with it. */
async function offerToGoOn(left: { passage: string; shift: number } | null): Promise<void> {
  room.unfinished.value = null;
  if (!left) return;
  const passage = await attempt(askPassage(left.passage));
  const shift = passage?.shifts.find((each) => each.number === left.shift);
  if (passage && shift) room.unfinished.value = { passage, shift };
}

/** The same shift, stage and run as before; the microphone first, since a page that was loaded anew has none. */
export async function goOn(): Promise<void> {
  const left = room.unfinished.value;
  if (!left || !(await heardThrough())) return;
  batch(() => {
    room.passage.value = left.passage;
    room.through.value = null;
    enterPractice(left.shift.number);
  });
  say({ type: "go-on" });
}

export function practiceSettings(): Record<string, unknown> {
  return {
    own_ear: room.ownEarOn.value,
    sounds: room.soundsOn.value,
    by_itself: room.byItself.value,
    tempo_bpm: room.tempoBpm.value,
  };
}

export function changePractice(): void {
  say({ type: "settings", settings: practiceSettings() });
}

export function act(name: string): void {
  wakeSound();
  if (name === "on" && room.practice.value?.phase === "tone") stopReference();
  say({ type: "act", act: name });
}

export function goTo(stage: string): void {
  stopReference();
  say({ type: "goto", stage });
}

/** Practise another exercise of the stage. */
export function chooseWay(way: string): void {
  stopReference();
  say({ type: "way", way });
}

export function leavePractice(): void {
  stopReference();
  stopClick();
  endTake();
  batch(() => {
    room.screen.value = "after";
    room.practice.value = null;
  });
  leftAt = Date.now();
}

export function listenToStrings(): void {
  room.strings.value = {};
  openTake("tune", {});
}

/** The passage from beginning to end; it is judged when the player stops. */
export async function playThrough(): Promise<void> {
  if (!(await heardThrough())) return;
  room.through.value = "playing";
  openTake("through", { passage: room.passage.value?.id });
}

export function endThrough(): void {
  room.through.value = "judging";
  endTake();
}

export function stopListening(): void {
  endTake();
}

const KEYS: Record<string, string> = {
  PageDown: "on",
  ArrowRight: "on",
  " ": "on",
  Enter: "on",
  PageUp: "again",
  ArrowLeft: "again",
  ArrowUp: "tone",
  ArrowDown: "back",
  Escape: "leave",
};

/** Pedals send keys; they work wherever the focus is, but never in a text field or instead of a button's own key. */
export function heardKey(event: KeyboardEvent): void {
  wakeSound();
  if (room.screen.value !== "practice" || event.ctrlKey || event.metaKey || event.altKey) return;
  const target = event.target as HTMLElement;
  if (target.closest("input, select, textarea, [contenteditable], dialog")) return;
  const action = KEYS[event.key];
  if (!action) return;
  if ((event.key === " " || event.key === "Enter") && target.closest("button, a, summary")) return;
  event.preventDefault();
  event.stopPropagation();
  if (!event.repeat) act(action);
}
