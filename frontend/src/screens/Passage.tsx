/** The passage as the hand reads it: shifts marked, every note's stop, other ways to finger it. */
import { useComputed, useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { Engraved } from "../parts/Engraved";
import { useSize } from "../parts/size";
import { attemptLine, pretty, ROMAN } from "../parts/words";
import { type AlternativeView, askAlternatives, askBoard, askChoose, askPin, askUnpin } from "../state/ask";
import { attempt, endThrough, playThrough, startPractice } from "../state/conduct";
import * as room from "../state/room";
import { passage } from "../state/room";
import type { PassageView, ShiftView, StopView } from "../state/shapes";

export function Passage() {
  const view = passage.value;
  const chosen = useSignal<string | null>(null);
  const shift = useSignal<number | null>(null);
  const others = useSignal<AlternativeView[] | null>(null);
  const board = useSignal("");
  const marks = useComputed(() => {
    const found: Record<string, string> = {};
    const marked = passage.value?.shifts.find((each) => each.number === shift.value);
    for (const id of marked?.departure ?? []) found[id] = "departs";
    for (const id of marked?.arrival ?? []) found[id] = "arrives";
    if (chosen.value) found[chosen.value] = `${found[chosen.value] ?? ""} touched`.trim();
    return found;
  });
  const signs = useComputed(() => {
    const run = room.through.value;
    const found = Array.isArray(run) ? run : [];
    return Object.fromEntries(found.flatMap((each) => each.notes.map((id) => [id, each.attempt.verdict])));
  });
  const about =
    shift.value !== null ? `shift=${shift.value}` : chosen.value ? `note=${encodeURIComponent(chosen.value)}` : "";
  const id = view?.id;
  const { ref: hand, width } = useSize<HTMLElement>();
  const handWidth = Math.round(width / 20) * 20;
  useEffect(() => {
    if (!id || !about || !handWidth) return;
    let here = true;
    void attempt(askBoard(id, about, room.mirrored.value, handWidth)).then((answer) => {
      if (here && answer) board.value = answer.svg;
    });
    return () => {
      here = false;
    };
  }, [id, about, board, handWidth]);
  const paper = useRef<HTMLElement>(null);
  const shown = chosen.value ?? view?.shifts.find((each) => each.number === shift.value)?.arrival[0] ?? null;
  useEffect(() => {
    if (shown && paper.current) showNote(paper.current, shown);
  }, [shown, view?.svg]);
  // One below the other, a shift's place appears where it was chosen: in the list, which scrolls with the page.
  const inList = room.windowWidth.value <= ONE_BELOW_THE_OTHER_PX && shift.value !== null;
  const comparing = others.value !== null;
  const compare = () => {
    if (!id) return;
    void attempt(askAlternatives(id)).then((found) => {
      others.value = found;
    });
  };
  useEffect(() => {
    if (comparing) compare();
  }, [room.windowWidth.value]);
  if (!view) return null;
  const stop = view.notes.find((each) => each.id === chosen.value) ?? null;
  const show = (changed: PassageView | null) => {
    if (changed) passage.value = changed;
    others.value = null;
  };
  const touch = (note: string) => {
    chosen.value = note;
    shift.value = null;
  };
  const own = room.start.value?.settings.instrument ?? view.instrument.family;
  const named = view.shifts.find((each) => each.number === shift.value) ?? view.shifts.find(reaches(chosen.value));
  return (
    <main class="sheet passage">
      <h1 tabIndex={-1} class={view.title.length > LONG_TITLE ? "long" : ""} title={view.title}>
        {view.title || "Untitled"}
      </h1>
      <p class="lead">{leadOf(view)}</p>
      {own !== view.instrument.family && (
        <p class="aside">
          It is for {view.instrument.family}, the room is set to {own}: size and strings chosen or measured for the{" "}
          {own} are not used here.
        </p>
      )}
      <section
        ref={paper}
        class="paper"
        // biome-ignore lint/a11y/noNoninteractiveTabindex: a region that scrolls must be reachable by key
        tabIndex={0}
        aria-label="The music. Left and right arrow go from note to note."
        onKeyDown={(event) => {
          const next = nextNote(view, shown, event.key);
          if (!next) return;
          event.preventDefault();
          touch(next);
        }}
      >
        <Engraved
          svg={view.svg}
          label={`${view.title}, engraved, with ${view.shifts.length} shifts marked`}
          marks={marks.value}
          signs={signs.value}
          onNote={touch}
        />
      </section>
      {view.shifts.length > 0 && <Through named={named?.number ?? null} />}
      <div class="beside">
        {view.shifts.length > 0 && (
          <section aria-labelledby="shifts-heading" class="shifts">
            <h2 id="shifts-heading">Shifts</h2>
            <ol>
              {view.shifts.map((each) => (
                <li key={each.number} class={shift.value === each.number ? "chosen" : ""}>
                  <button
                    type="button"
                    class="shift-name"
                    aria-pressed={shift.value === each.number}
                    onClick={() => {
                      shift.value = each.number;
                      chosen.value = null;
                    }}
                  >
                    <span class="shift-number">{each.number}</span>
                    <span>
                      <strong>{each.short}</strong>
                      <small>{each.label.slice(each.short.length).replace(/^[\s·]+/, "")}</small>
                    </span>
                  </button>
                  <button
                    type="button"
                    class={shift.value === each.number ? "main-act small" : "small"}
                    aria-label={`Practise shift ${each.number}`}
                    onClick={() => void startPractice(each.number)}
                  >
                    Practise
                  </button>
                  {inList && shift.value === each.number && board.value && (
                    <Engraved svg={board.value} label="The fingerboard" class="board-frame" />
                  )}
                </li>
              ))}
            </ol>
          </section>
        )}
        <section ref={hand} aria-labelledby="hand-heading" class="hand">
          <h2 id="hand-heading">The hand</h2>
          {board.value && about && !inList ? (
            <Engraved svg={board.value} label="The fingerboard" class="board-frame" />
          ) : (
            <p class="aside">
              {view.shifts.length > 0 ? "Touch a note or choose a shift" : "Touch a note"}: its place on the fingerboard
              appears here.
            </p>
          )}
          {stop && (
            <StopPanel
              stop={stop}
              strings={view.instrument.strings}
              onChange={(finger, string) => void attempt(askPin(view.id, stop.id, finger, string)).then(show)}
            />
          )}
          <p class="acts">
            <button type="button" onClick={compare}>
              Compare other fingerings
            </button>
            {view.changed && (
              <>
                <button type="button" onClick={() => void attempt(askUnpin(view.id)).then(show)}>
                  Back to the edition's
                </button>
                <a class="button" href={`/api/passages/${view.id}/file`} download>
                  Save as MusicXML
                </a>
              </>
            )}
          </p>
        </section>
      </div>
      {others.value && (
        <section aria-labelledby="others-heading" class="others">
          <h2 id="others-heading">Other fingerings</h2>
          {others.value.length === 0 && <p class="aside">The edition's marks leave no other way.</p>}
          {others.value.map((each) => (
            <article key={each.number}>
              <p>
                <strong>{each.number}.</strong> {each.line}{" "}
                <button type="button" onClick={() => void attempt(askChoose(view.id, each.number)).then(show)}>
                  Take this one
                </button>
              </p>
              <div class="paper">
                <Engraved svg={each.svg} label={`Fingering ${each.number}`} />
              </div>
            </article>
          ))}
        </section>
      )}
    </main>
  );
}

const LONG_TITLE = 60;
const ONE_BELOW_THE_OTHER_PX = 860;

function leadOf(view: PassageView): string {
  const count = view.shifts.length;
  if (count === 0) return "No shift: the hand stays where it is. Another fingering may have some.";
  const shifts = `${count} ${count === 1 ? "shift" : "shifts"} for ${view.instrument.family}.`;
  return `${shifts} Touch a note to see its stop; choose a shift to practise it.`;
}

/** Whether a shift arrives at a note. */
function reaches(note: string | null) {
  return (shift: ShiftView) => note !== null && shift.arrival.includes(note);
}

const STEPS: Record<string, number> = { ArrowLeft: -1, ArrowRight: 1 };

/** The note that an arrow key leads to; null for other keys and past the ends. */
function nextNote(view: PassageView, from: string | null, key: string): string | null {
  const step = STEPS[key];
  if (!step) return null;
  const at = view.notes.findIndex((each) => each.id === from);
  return view.notes[at < 0 ? 0 : at + step]?.id ?? null;
}

/** Scrolls the music, not the page, until a note can be seen. */
function showNote(paper: HTMLElement, id: string): void {
  const note = paper.querySelector(`[id="${CSS.escape(id)}"]`);
  if (!note) return;
  const [box, frame] = [note.getBoundingClientRect(), paper.getBoundingClientRect()];
  const room = paper.clientHeight / 3;
  if (box.top < frame.top + room / 2 || box.bottom > frame.bottom - room / 2) {
    paper.scrollTop += box.top - frame.top - room;
  }
}

function Through({ named }: { named: number | null }) {
  const run = room.through.value;
  const found = Array.isArray(run) ? run : [];
  return (
    <section class="through" aria-label="The whole passage">
      <p class="acts">
        {named !== null && run !== "playing" && (
          <button type="button" class="main-act" onClick={() => void startPractice(named)}>
            Practise shift {named} now
          </button>
        )}
        {run === "playing" ? (
          <button type="button" class="main-act" onClick={endThrough}>
            Stop and judge
          </button>
        ) : (
          <button type="button" disabled={run === "judging"} onClick={() => void playThrough()}>
            {run === "judging" ? "Judging" : "Play it through"}
          </button>
        )}
      </p>
      <div role="status">
        {run === "playing" && <p class="aside">Play in your own tempo. Stumbles and repeats do no harm.</p>}
        {Array.isArray(run) && run.length === 0 && <p class="aside">The passage was not heard in this take.</p>}
        {found.length > 0 && (
          <ul>
            {found.map((each) => (
              <li key={`${each.number}-${each.attempt.start_s}`}>
                Shift {each.number}: <strong>{each.attempt.verdict}</strong> {attemptLine(each.attempt)}
              </li>
            ))}
          </ul>
        )}
      </div>
    </section>
  );
}

interface PanelProps {
  stop: StopView;
  strings: string[];
  onChange: (finger: string | null, string: number | null) => void;
}

function StopPanel({ stop, strings, onChange }: PanelProps) {
  return (
    <div class="stop-panel">
      <p role="status">
        <strong>{pretty(stop.pitch)}</strong> in bar {stop.measure}: finger {stop.finger} on string {ROMAN[stop.string]}
        , {stop.position?.label ? `${stop.position.label} position` : "open"}
        {stop.given ? ", as printed" : ", completed"}
      </p>
      <p class="fields">
        <label>
          Finger{" "}
          <select value={stop.finger} onChange={(event) => onChange(event.currentTarget.value, null)}>
            {["0", "1", "2", "3", "4", "T"].map((finger) => (
              <option key={finger} value={finger}>
                {finger}
              </option>
            ))}
          </select>
        </label>
        <label>
          String{" "}
          <select value={String(stop.string)} onChange={(event) => onChange(null, Number(event.currentTarget.value))}>
            {strings.map((name, index) => (
              <option key={name} value={index + 1}>
                {`${ROMAN[index + 1]} (${pretty(name)})`}
              </option>
            ))}
          </select>
        </label>
      </p>
    </div>
  );
}
