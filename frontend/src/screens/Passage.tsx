/** The passage as the hand reads it: shifts marked, every note's stop, other ways to finger it. */
import { useComputed, useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { Engraved } from "../parts/Engraved";
import { useSize } from "../parts/size";
import { attemptLine, pretty, ROMAN } from "../parts/words";
import { type AlternativeView, askAlternatives, askBoard, askChoose, askPin, askUnpin } from "../state/ask";
import { attempt, endThrough, playThrough, startPractice } from "../state/conduct";
import * as room from "../state/room";
import { mic, passage } from "../state/room";
import type { PassageView, StopView } from "../state/shapes";

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
    void attempt(askBoard(id, about, handWidth)).then((answer) => {
      if (here && answer) board.value = answer.svg;
    });
    return () => {
      here = false;
    };
  }, [id, about, board, handWidth]);
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
  return (
    <main class="sheet passage">
      <h1>{view.title || "Untitled"}</h1>
      <p class="lead">
        {view.shifts.length === 0
          ? "No shift: the hand stays where it is."
          : `${view.shifts.length} ${view.shifts.length === 1 ? "shift" : "shifts"} for ${view.instrument.family}. Touch a note to see its stop; choose a shift to practise it.`}
      </p>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: a region that scrolls must be reachable by key */}
      <section class="paper" tabIndex={0} aria-label="The music">
        <Engraved
          svg={view.svg}
          label={`${view.title}, engraved, with ${view.shifts.length} shifts marked`}
          marks={marks.value}
          signs={signs.value}
          onNote={(note) => {
            chosen.value = note;
            shift.value = null;
          }}
        />
      </section>
      <Through />
      <div class="beside">
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
                  disabled={mic.value !== "on"}
                  aria-label={`Practise shift ${each.number}`}
                  onClick={() => startPractice(each.number)}
                >
                  Practise
                </button>
              </li>
            ))}
          </ol>
          {mic.value !== "on" && <p class="aside">Allow the microphone first (Sound).</p>}
        </section>
        <section ref={hand} aria-labelledby="hand-heading" class="hand">
          <h2 id="hand-heading">The hand</h2>
          {board.value && about ? (
            <Engraved svg={board.value} label="The fingerboard" class="board-frame" />
          ) : (
            <p class="aside">Touch a note or choose a shift: its place on the fingerboard appears here.</p>
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

function Through() {
  const run = room.through.value;
  const found = Array.isArray(run) ? run : [];
  return (
    <section class="through" aria-label="The whole passage">
      <p class="acts">
        {run === "playing" ? (
          <button type="button" class="main-act" onClick={endThrough}>
            Stop and judge
          </button>
        ) : (
          <button type="button" disabled={room.mic.value !== "on" || run === "judging"} onClick={playThrough}>
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
      <p>
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
