/** Shapes of what the server says. */

export type VerdictWord = "true" | "high" | "low" | "corrected" | "wrong note" | "early" | "late" | "unjudged";

export interface ToldView {
  verdict: VerdictWord;
  faults: string[];
  cents: number | null;
  mm: number | null;
  settled_cents: number | null;
  reason: string | null;
  answer: string | null;
  /** There and back: the way that decides; empty elsewhere. */
  leg: LegWord | "";
}

export type LegWord = "there" | "back";

export type PhaseWord = "read" | "tone" | "count" | "play" | "answer" | "stopped" | "met" | "done";

export interface PracticeView {
  type: "practice";
  stages: { name: string; cue: string }[];
  stage: string;
  /** The exercise that was chosen for the stage; empty for its first. */
  way: string;
  phase: PhaseWord;
  cue: string;
  listening: "nothing" | "any octave" | "pitch" | "shift" | "passage";
  once: boolean;
  clicks: boolean;
  aim: number;
  trues: number;
  misses: number;
  run: ToldView[];
  /** In the passage: the verdict on every note that a shift of the run reached. */
  marks: Record<string, string>;
  stopped: { cause: string; line: string; back: string } | null;
  returning: string | false;
  tempo_bpm: number;
  own_ear: { on: boolean; asked: number; right: number };
  sounds: boolean;
  by_itself: boolean;
  moment: number;
}

/** One note of a double stop. */
export interface NoteView {
  target: { pitch: string };
  landing_cents: number | null;
  landing_mm: number | null;
  settled_cents: number | null;
  verdict: VerdictWord;
}

export interface AttemptView {
  stage: string;
  start_s: number;
  end_s: number;
  departure_s: number | null;
  arrival_s: number | null;
  target: { pitch: string; hz: number; system: string; reference: string | null };
  landing_cents: number | null;
  landing_mm: number | null;
  landing_se_cents: number | null;
  interval_error_cents: number | null;
  settled_cents: number | null;
  correction_cents: number | null;
  slide_s: number | null;
  timing_s: number | null;
  vibrato: { present: boolean; rate_hz: number | null; extent_cents: number | null };
  verdict: VerdictWord;
  faults: string[];
  borderline: boolean;
  reason: string | null;
  tolerance_cents: number;
  trace_s: number[];
  trace_cents: number[];
  /** Both notes of a double stop, lower first. */
  notes: NoteView[] | null;
}

export interface StopView {
  id: string;
  measure: string;
  beat: number;
  pitch: string;
  string: number;
  finger: string;
  place: number;
  position: { label: string | null; first_finger_semitones: number; shape: string } | null;
  given: boolean;
}

export interface ShiftView {
  number: number;
  measure: string;
  departure: string[];
  arrival: string[];
  direction: "up" | "down";
  relation: string;
  crossing: boolean;
  cover: string;
  interval: string;
  from_position: string;
  to_position: string;
  guide: { finger: string; string: number; from: string; to: string; travel_semitones: number; travel_mm: number }[];
  label: string;
  short: string;
}

export interface PassageView {
  id: string;
  title: string;
  part: string;
  instrument: { family: string; size: string; strings: string[]; length_mm: number };
  guide_rule: string;
  notes: StopView[];
  shifts: ShiftView[];
  svg: string;
  changed: boolean;
}

/** What the landing drawing needs of a shift's arrival. */
export interface PlaceView {
  finger: string;
  string: number;
  string_name: string;
  place: number;
  pitch: string;
  length_mm: number;
  tolerance_cents: number;
}

export interface StageView {
  stage: string;
  way: string;
  /** The stage's exercises. */
  ways: { name: string; heading: string }[];
  heading: string;
  instruction: string;
  /** What to do, in one line and one word for the stand. */
  line: string;
  cue: string;
  /** What a click counts: "dotted quarter note". */
  beat: string;
  svg: string;
  departure: PlaceView;
  arrival: PlaceView;
  guide: PlaceView | null;
  interval_cents: number;
}

export interface StartView {
  version: string;
  cautions: string[];
  /** Sizes with their usual string length in mm. */
  instruments: Record<string, { sizes: Record<string, number>; usual: string; tunings: string[] }>;
  passages: { id: string; title: string; instrument: string; shifts: number }[];
  open_strings: string[];
  strings: StringsView | null;
  settings: RoomSettings;
}

export interface StringsView {
  instrument: string;
  hz: (number | null)[];
}

export interface RoomSettings {
  instrument: string;
  size: string | null;
  length_mm: number | null;
  strings: string | null;
  a4_hz: number;
  intonation: string;
  tolerance: string;
  guide: string;
  numbering: string;
}

/** The settings as the server keeps them, with the open strings that they mean. */
export interface KeptSettings extends RoomSettings {
  open_strings: string[];
}

/** One shift in a run through the passage. */
export interface ThroughView {
  number: number;
  notes: string[];
  attempt: AttemptView;
}

export interface Trouble {
  what: string;
  hint: string;
  /** There was no answer: nothing to say where it is said already that the server is gone. */
  gone?: boolean;
}
