/** Questions to the server. Every answer that is not good becomes one sentence and a remedy. */
import type { KeptSettings, PassageView, RoomSettings, StageView, StartView, Trouble } from "./shapes";

export class Refused extends Error {
  constructor(readonly trouble: Trouble) {
    super(trouble.what);
  }
}

async function ask<T>(path: string, init?: RequestInit): Promise<T> {
  let answer: Response;
  try {
    answer = await fetch(path, init);
  } catch {
    throw new Refused({ what: "The room's server does not answer.", hint: "Start 'truestop room' again.", gone: true });
  }
  if (answer.ok) return (await answer.json()) as T;
  throw new Refused(await troubleOf(answer));
}

async function troubleOf(answer: Response): Promise<Trouble> {
  if (answer.headers.get("content-type")?.startsWith("application/problem+json")) {
    const problem = await answer.json();
    return { what: problem.title, hint: problem.detail ?? "" };
  }
  if (answer.status === 401) return { what: await answer.text(), hint: "" };
  return { what: `The server answered ${answer.status}.`, hint: "Try again; if it stays, restart 'truestop room'." };
}

function sending(method: string, body?: unknown): RequestInit {
  return body === undefined
    ? { method }
    : { method, body: JSON.stringify(body), headers: { "content-type": "application/json" } };
}

export interface AlternativeView {
  number: number;
  line: string;
  shifts: number;
  svg: string;
}

export interface ShiftProgress {
  number: number;
  label: string;
  attempts: number;
  standing: string;
  cold: string;
  warm: string;
  bias: string;
  spread: string;
  sentence: string;
  exercise: string;
  own_ear: string;
  stages: { stage: string; judged: number; true: number }[];
}

export interface RecordView {
  rows: ShiftProgress[];
  standing: string;
}

/** Drawings of one shift's record; empty where there is nothing to draw yet. */
export interface RecordPictures {
  landings: string;
  share: string;
  diary: string;
  last: string;
}

export interface KeptAttemptView {
  id: string;
  stage: string;
  cold: boolean;
  verdict: string;
  cents: number | null;
  mm: number | null;
  reason: string | null;
  own_ear: string | null;
  start_s: number;
  end_s: number;
  tolerance_cents: number;
  trace_s: number[];
  trace_cents: number[];
}

export interface KeptTakeView {
  take: string;
  recorded_at_s: number;
  duration_s: number;
  sound: boolean;
  /** Attempts at other shifts in the same take. */
  others: number;
  attempts: KeptAttemptView[];
}

/** Wide enough in mm for the window that the music is engraved to. */
function wide(): string {
  return `wide=${Math.max(70, Math.min(240, Math.round(Math.min(window.innerWidth, 1400) / 65) * 10))}`;
}

export const askStart = () => ask<StartView>("/api/start");
export const askSettings = (settings: Partial<RoomSettings>) =>
  ask<KeptSettings>("/api/settings", sending("PUT", settings));
export const askStrings = (hz: (number | null)[] | null) => ask<KeptSettings>("/api/strings", sending("PUT", { hz }));
export const askDemo = () => ask<PassageView>(`/api/passages/demo?${wide()}`, sending("POST"));
export const askTyped = (text: string) => ask<PassageView>(`/api/passages/typed?${wide()}`, sending("POST", { text }));
export const askPassage = (id: string) => ask<PassageView>(`/api/passages/${id}?${wide()}`);
/** The passage read for the instrument that was chosen now, where it names none. */
export const askInstrument = (id: string) =>
  ask<PassageView>(`/api/passages/${id}/instrument?${wide()}`, sending("POST"));
export const askFile = (file: File, part: string, measures: string) => {
  const form = new FormData();
  form.append("file", file);
  form.append("part", part);
  form.append("measures", measures);
  return ask<PassageView>(`/api/passages?${wide()}`, { method: "POST", body: form });
};
export const askPin = (id: string, noteId: string, finger: string | null, string: number | null) =>
  ask<PassageView>(`/api/passages/${id}/pin?${wide()}`, sending("POST", { note: noteId, finger, string }));
export const askUnpin = (id: string) => ask<PassageView>(`/api/passages/${id}/pin?${wide()}`, sending("DELETE"));
export const askAlternatives = (id: string) => ask<AlternativeView[]>(`/api/passages/${id}/alternatives?${wide()}`);
export const askChoose = (id: string, number: number) =>
  ask<PassageView>(`/api/passages/${id}/alternatives/${number}?${wide()}`, sending("POST"));
/** `widthPx`: how wide it will be; `perMm`, in CSS pixels: the more, the larger its letters. */
export const askBoard = (id: string, about: string, mirrored: boolean, widthPx: number, perMm = 5.6, bare = false) => {
  const wide = Math.floor(Math.min(widthPx, 1000) / perMm);
  return ask<{ svg: string }>(`/api/passages/${id}/board?${about}&mirrored=${mirrored}&bare=${bare}&wide=${wide}`);
};
/** The stage with its music set for a frame of this shape, in mm. */
export const askStage = (id: string, shift: number, name: string, way: string, [wide, high]: [number, number]) =>
  ask<StageView>(
    `/api/passages/${id}/shifts/${shift}/stages/${encodeURIComponent(name)}?way=${encodeURIComponent(way)}&wide=${wide}&high=${high}`,
  );
export const toneUrl = (id: string, shift: number, name: string) =>
  `/api/passages/${id}/shifts/${shift}/tone?stage=${encodeURIComponent(name)}`;
export const stringToneUrl = (string: number) => `/api/strings/${string}/tone`;
export const askProgress = (id: string) =>
  ask<RecordView>(`/api/passages/${id}/progress?wide=${Math.round(Math.min(window.innerWidth - 40, 640) / 5)}`);
export const askPictures = (id: string, shift: number) =>
  ask<RecordPictures>(
    `/api/passages/${id}/shifts/${shift}/pictures?wide=${Math.round(Math.min(window.innerWidth - 40, 900) / 5)}`,
  );
export const askTakes = (id: string, shift: number) => ask<KeptTakeView[]>(`/api/passages/${id}/shifts/${shift}/takes`);
export const takeSoundUrl = (take: string, from: number, to: number) =>
  `/api/takes/${take}/sound?start=${from.toFixed(3)}&end=${to.toFixed(3)}`;
export const askDelete = (take: string) => ask<{ deleted: boolean }>(`/api/takes/${take}`, sending("DELETE"));
