/** One shift, hands-free. Everything that is read from the stand is large; nothing scrolls. */
import { useComputed, useSignal } from "@preact/signals";
import { useEffect, useLayoutEffect } from "preact/hooks";
import { Engraved } from "../parts/Engraved";
import { PitchCanvas } from "../parts/PitchCanvas";
import { type Landed, StringDrawing } from "../parts/StringDrawing";
import { fitText, useSize } from "../parts/size";
import {
  attemptLine,
  LEGS,
  landingLine,
  legsLine,
  legWord,
  pretty,
  secondsLeft,
  spokenCue,
  toldSpoken,
  VERDICT_MARKS,
} from "../parts/words";
import { askBoard } from "../state/ask";
import { act, attempt, chooseWay, goTo } from "../state/conduct";
import { keepAwake } from "../state/opening";
import { needsBreak } from "../state/rest";
import * as room from "../state/room";
import type { AttemptView, NoteView, PracticeView, StageView } from "../state/shapes";
import { How } from "./How";

const NO_SIGNS: Record<string, string> = {};
/** CSS pixels to a mm of the fingerboard drawing: its letters are read from the stand, on a phone from 12 px on. */
const STAND_BOARD = 10;
const PHONE_BOARD = 5.3;
const PHONE = "(max-width: 500px), (max-height: 560px)";

export function Practice() {
  const view = room.practice.value;
  const stage = room.stage.value;
  const how = useSignal(false);
  const board = useSignal("");
  const signs = useComputed(() => room.practice.value?.marks ?? NO_SIGNS);
  const reading = view?.listening === "nothing";
  useEffect(() => {
    const id = room.passage.value?.id;
    if (!id || !reading) return;
    const about = `shift=${room.shiftNumber.value}`;
    const phone = window.matchMedia(PHONE).matches;
    const width = phone ? Math.min(window.innerWidth - 16, 380) : window.innerWidth;
    const asked = askBoard(id, about, room.mirrored.value, width, phone ? PHONE_BOARD : STAND_BOARD, phone);
    void attempt(asked).then((answer) => {
      board.value = answer?.svg ?? "";
    });
  }, [reading, board, room.windowWidth.value, room.mirrored.value]);
  const current = view?.stage;
  useEffect(() => {
    if (current)
      document.querySelector(".stages [aria-current]")?.scrollIntoView({ inline: "center", block: "nearest" });
  }, [current, room.windowWidth.value]);
  useEffect(() => {
    void keepAwake(true);
    return () => void keepAwake(false);
  }, []);
  if (!view) {
    return (
      <main class="practice">
        <header class="practice-head">
          <h1 tabIndex={-1}>Shift {room.shiftNumber.value}</h1>
          <p class="head-acts">
            <button type="button" onClick={() => act("leave")}>
              End
            </button>
          </p>
        </header>
      </main>
    );
  }
  const shift = room.passage.value?.shifts.find((each) => each.number === room.shiftNumber.value);
  const listens = view.listening !== "nothing";
  // A sung note has no place on the string.
  const sung = view.listening === "any octave";
  // The notes of the stage before stay, pale, until those of this one have come.
  const fits = stage?.stage === view.stage;
  const began = view.run.length > 0 || room.landings.value.length > 0;
  const classes = [
    `practice phase-${view.phase}`,
    room.traceShown.value && listens && view.listening !== "passage" ? "with-trace" : "",
    listens && !began ? "before-first" : "",
    sung ? "sung" : "",
    view.listening === "passage" ? "in-passage" : "",
    reading ? "naming" : "",
    fits ? "" : "stale",
  ];
  return (
    <main class={classes.join(" ")}>
      <header class="practice-head">
        <h1 tabIndex={-1}>
          Shift {room.shiftNumber.value}
          {shift && <span class="shift-short">: {shift.short}</span>}
        </h1>
        <nav aria-label="Stages">
          <ol class="stages">
            {view.stages.map((each) => (
              <li key={each.name}>
                <button
                  type="button"
                  aria-current={each.name === view.stage ? "step" : undefined}
                  title={each.name}
                  onClick={(event) => {
                    goTo(each.name);
                    // Touched, not reached by key: Enter and Space belong to the pedals again.
                    if (event.detail > 0) event.currentTarget.blur();
                  }}
                >
                  {each.name}
                </button>
              </li>
            ))}
          </ol>
        </nav>
        <p class="head-acts">
          <button
            type="button"
            onClick={() => {
              how.value = true;
            }}
          >
            How
          </button>
          <button type="button" onClick={() => act("leave")}>
            End
          </button>
        </p>
      </header>
      <section class="stave" aria-label="What to play">
        {stage?.svg ? (
          <Engraved
            svg={stage.svg}
            label={`${stage.heading}. ${stage.instruction}`}
            signs={view.listening === "passage" ? signs.value : NO_SIGNS}
          />
        ) : (
          <p class="aside">The notes are being engraved.</p>
        )}
        <p class="ways-line">
          {stage && stage.ways.length > 1 && <Ways ways={stage.ways} chosen={stage.way} />}
          {view.clicks && room.latencyMs.value === null && (
            <button
              type="button"
              onClick={() => {
                how.value = true;
              }}
            >
              Measure latency
            </button>
          )}
        </p>
      </section>
      <Cue view={view} />
      {listens && stage && !sung && (
        <section class="where" aria-label="Where the hand landed">
          <StringDrawing
            place={stage.arrival}
            earlier={room.told.value ? view.run.slice(0, -1) : view.run}
            now={currentMarks()}
            mirrored={room.mirrored.value}
          />
        </section>
      )}
      {!listens && board.value && (
        <section class="where" aria-label="The way on the fingerboard">
          <Engraved svg={board.value} label="The shift on the fingerboard" class="way-board" />
        </section>
      )}
      {listens && stage && room.traceShown.value && view.listening !== "passage" && (
        <section class="trace" aria-label="Pitch">
          <PitchCanvas
            departureCents={-stage.interval_cents}
            toleranceCents={stage.arrival.tolerance_cents}
            names={{ departure: pretty(stage.departure.pitch), arrival: pretty(stage.arrival.pitch) }}
          />
        </section>
      )}
      <Pedals view={view} />
      {how.value && (
        <How
          onClose={() => {
            how.value = false;
          }}
        />
      )}
    </main>
  );
}

/** Another exercise of the stage; afterwards the keys belong to the pedals again. */
function Ways({ ways, chosen }: { ways: StageView["ways"]; chosen: string }) {
  return (
    <select
      aria-label="Exercise"
      value={chosen}
      onChange={(event) => {
        chooseWay(event.currentTarget.value);
        event.currentTarget.blur();
      }}
    >
      {ways.map((each) => (
        <option key={each.name} value={each.name}>
          {alone(each.heading)}
        </option>
      ))}
    </select>
  );
}

/** "In one bow" of "In time: in one bow": the stage is named above. */
function alone(heading: string): string {
  const rest = heading.replace(/^[^:]*: /, "");
  return rest.charAt(0).toUpperCase() + rest.slice(1);
}

/** What is drawn on the string now: one mark, one for each note of a double stop, or those of there and back. */
function currentMarks(): Landed[] {
  const landings = room.landings.value;
  if (landings.length > 0) {
    return landings.map((each) => {
      const mark = { cents: each.cents, mm: each.mm, verdict: null, settled: null };
      return each.leg ? { ...mark, name: each.leg } : mark;
    });
  }
  const told = room.told.value;
  const attempt = told?.attempt;
  if (told?.legs) {
    return LEGS.flatMap((leg) => {
      const one = told.legs?.[leg];
      return one ? landedMarks(one).map((mark) => ({ ...mark, name: leg })) : [];
    });
  }
  if (attempt?.notes) {
    return attempt.notes.flatMap((note) =>
      landedMarks(note).map((mark) => ({ ...mark, name: pretty(note.target.pitch) })),
    );
  }
  if (attempt && attempt.landing_cents !== null) return landedMarks(attempt);
  const note = room.note.value;
  if (note && (room.practice.value?.listening === "pitch" || room.practice.value?.listening === "any octave")) {
    const verdict = note.good ? "true" : note.cents > 0 ? "high" : "low";
    return [{ cents: note.cents, mm: null, verdict, settled: null }];
  }
  return [];
}

function landedMarks(one: AttemptView | NoteView): Landed[] {
  const { landing_cents: cents, landing_mm: mm, verdict, settled_cents: settled } = one;
  return cents === null ? [] : [{ cents, mm, verdict, settled }];
}

/** The one word that is read from the stand, and the line below it. */
export function cueOf(view: PracticeView): { word: string; line: string; kind: string } {
  const stage = room.stage.value?.stage === view.stage ? room.stage.value : null;
  const task = { word: stage?.cue ?? view.cue, line: stage?.line ?? "" };
  const told = room.told.value;
  const landing = room.landings.value.at(-1);
  const beat = room.metronome.value;
  if (view.phase === "tone") return { word: "Listen", line: task.line, kind: "" };
  if (view.phase === "count") return { word: beat === null ? "…" : String(beat + 1), line: task.line, kind: "count" };
  if (view.phase === "answer") return { word: "Your ear?", line: "High, low or true?", kind: "" };
  if (view.phase === "stopped" && view.stopped) {
    return { word: "Step back", line: `${view.stopped.line} ${view.stopped.back}`, kind: "stopped" };
  }
  if (view.phase === "met") return { word: "Go on", line: lastLine(view), kind: "met" };
  if (view.phase === "read") return { ...task, kind: "" };
  if (told && (told.attempt || told.verdict)) {
    const line = told.legs ? legsLine(told) : told.attempt ? attemptLine(told.attempt) + octavesAway() : "";
    return { word: legWord(told.verdict, told.leg), line, kind: `verdict ${told.verdict.replace(" ", "-")}` };
  }
  if (landing) return { word: "\u00a0", line: landingLine(landing.cents, landing.mm), kind: "landing" };
  return { ...task, kind: "" };
}

function lastLine(view: PracticeView): string {
  if (view.once) {
    const last = view.run.at(-1);
    return last ? `${toldSpoken(last)}` : "Now practise.";
  }
  const count = ["None", "One", "Two", "Three", "Four", "Five"][view.trues] ?? String(view.trues);
  return view.trues > 0 ? `${count} true in a row. It proves nothing yet.` : "Next stage.";
}

/** Of a sung arrival: in which octave it was. */
function octavesAway(): string {
  const octaves = room.practice.value?.listening === "any octave" ? (room.note.value?.octaves ?? 0) : 0;
  const many = Math.abs(octaves) > 1 ? "octaves" : "octave";
  return octaves === 0 ? "" : `, ${Math.abs(octaves)} ${many} ${octaves > 0 ? "above" : "below"}`;
}

function Cue({ view }: { view: PracticeView }) {
  const cue = cueOf(view);
  const told = room.told.value;
  const waiting = room.waiting.value;
  const goesOn = waiting ? ` Goes on in ${secondsLeft(waiting, waiting.since)} seconds.` : "";
  // What is said is said once: not before the stage's own words have come.
  const spoken = room.stage.value?.stage === view.stage ? spokenCue(cue) + goesOn : "";
  const mark = told && cue.kind.startsWith("verdict") ? VERDICT_MARKS[told.verdict as never] : "";
  return (
    <section class="cue">
      <FittedWord word={cue.word} kind={cue.kind} />
      <p class="cue-line">
        <Line text={cue.line} />
        {mark && cue.line === "" ? mark : ""}
      </p>
      <p class="cue-small">
        {view.aim > 0 && view.phase !== "read" && <Aim aim={view.aim} trues={view.trues} />}
        {told?.ownEarRight != null && (
          <span>{told.ownEarRight ? "Your ear was right." : "Your ear said otherwise."}</span>
        )}
        {view.own_ear.asked > 0 && (
          <span>
            Own ear: {view.own_ear.right} of {view.own_ear.asked}
          </span>
        )}
        {view.returning && <span>Then forward again to {view.returning}.</span>}
        {told?.attempt?.borderline && <span>On the edge: could be either.</span>}
        {needsBreak(room.practisedSince.value, Date.now()) && <span>25 minutes: rest the hands.</span>}
        <Waiting />
      </p>
      <p class="visually-hidden" role="status" aria-live="assertive">
        {spoken}
      </p>
    </section>
  );
}

/** A landing's line; its millimetres, which the drawing tells too, go first where there is no room. */
function Line({ text }: { text: string }) {
  const [, mm = "", rest = text] = /^([+\u2212]?[\d.]+ mm, )(.*)$/.exec(text) ?? [];
  return (
    <>
      {mm && <span class="line-mm">{mm}</span>}
      {rest}
    </>
  );
}

/** As large as the style wants it, smaller only where the letters of this machine are too wide for the room. */
function FittedWord({ word, kind }: { word: string; kind: string }) {
  const { ref, width } = useSize<HTMLParagraphElement>();
  useLayoutEffect(() => {
    const element = ref.current;
    if (element) fitText(element);
  }, [ref, word, kind, width, room.windowWidth.value]);
  return (
    <p ref={ref} class={`cue-word ${kind}`} aria-hidden="true">
      {word}
    </p>
  );
}

function Aim({ aim, trues }: { aim: number; trues: number }) {
  return (
    <span class="aim">
      <svg width={aim * 20} height={18} aria-hidden="true">
        {Array.from({ length: aim }, (_, i) => (
          <circle key={i} cx={9 + i * 20} cy={9} r={6} class={i < trues ? "full" : "empty"} />
        ))}
      </svg>
      {trues} of {aim} in a row
    </span>
  );
}

/** Counts down to what goes on by itself. It is said once, with the cue: a timer's changes are not read out. */
function Waiting() {
  const waiting = room.waiting.value;
  const now = useSignal(0);
  useEffect(() => {
    if (!waiting) return;
    const tick = () => {
      now.value = performance.now();
    };
    tick();
    const timer = setInterval(tick, 200);
    return () => clearInterval(timer);
  }, [waiting, now]);
  if (!waiting) return null;
  return (
    <span class="timer" role="timer">
      Goes on in {secondsLeft(waiting, now.value)} s.
    </span>
  );
}

const PEDALS: Record<string, [string, string, string][]> = {
  answer: [
    ["low", "low", "\u2190 PageUp"],
    ["true", "true", "\u2191"],
    ["high", "high", "\u2192 PageDown"],
  ],
  stopped: [
    ["again", "Stay here", "\u2190 PageUp"],
    ["tone", "Hear it", "\u2191"],
    ["on", "Step back", "\u2192 PageDown"],
  ],
  usual: [
    ["again", "Begin again", "\u2190 PageUp"],
    ["tone", "Hear it", "\u2191"],
    ["on", "Go on", "\u2192 PageDown"],
  ],
};

function Pedals({ view }: { view: PracticeView }) {
  const pedals = PEDALS[view.phase] ?? PEDALS.usual ?? [];
  return (
    <footer class="pedals">
      {pedals.map(([name, words, keys]) => (
        <button type="button" key={name} disabled={name === "tone" && view.once} onClick={() => act(name)}>
          {words} <kbd>{keys}</kbd>
        </button>
      ))}
    </footer>
  );
}
