/** The record of this passage's shifts, in numbers and pictures, and every take to hear again. */
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { Engraved } from "../parts/Engraved";
import { PitchCanvas } from "../parts/PitchCanvas";
import { landingLine } from "../parts/words";
import {
  askDelete,
  askPictures,
  askProgress,
  askTakes,
  type KeptTakeView,
  type RecordPictures,
  type RecordView,
  type ShiftProgress,
  takeSoundUrl,
} from "../state/ask";
import { attempt, report, startPractice } from "../state/conduct";
import { linked, passage, shiftNumber, takesKept, windowWidth } from "../state/room";

export function After() {
  const record = useSignal<RecordView | null>(null);
  const pictures = useSignal<RecordPictures | null>(null);
  const takes = useSignal<KeptTakeView[]>([]);
  const chosen = useSignal(shiftNumber.value || 0);
  const id = passage.value?.id;
  const load = async () => {
    if (!id) return;
    record.value = await attempt(askProgress(id));
    const rows = record.value?.rows ?? [];
    // The shift that was practised last may be one of another passage, or of another fingering.
    if (record.value && !rows.some((each) => each.number === chosen.value))
      chosen.value = rows.find((each) => each.attempts > 0)?.number ?? rows[0]?.number ?? 0;
    if (chosen.value === 0) return;
    takes.value = (await attempt(askTakes(id, chosen.value))) ?? [];
    pictures.value = await attempt(askPictures(id, chosen.value));
  };
  useEffect(() => {
    void load();
  }, [id, chosen.value, windowWidth.value, takesKept.value, linked.value]);
  const heading = useRef<HTMLHeadingElement>(null);
  const choose = (number: number) => {
    chosen.value = number;
    heading.current?.scrollIntoView({ block: "start" });
    heading.current?.focus({ preventScroll: true });
  };
  const rows = record.value?.rows ?? [];
  const row = rows.find((each) => each.number === chosen.value);
  return (
    <main class="sheet after">
      <h1 tabIndex={-1}>The record</h1>
      <p class="lead piece">{passage.value?.title || "Untitled"}</p>
      {row && (
        <section aria-labelledby="one-heading">
          <h2 id="one-heading" ref={heading} tabIndex={-1}>
            Shift {row.number}: {row.attempts ? row.standing : "untried"}
          </h2>
          <p class="aside">{row.label.replace(/^no\. \d+, /, "")}</p>
          <p class="lead">{row.sentence}</p>
          {row.exercise && <p>{row.exercise}</p>}
          {row.own_ear && <p>{row.own_ear}</p>}
          {row.stages.length > 0 && (
            <p>
              Stage practice: {row.stages.map((each) => `${each.stage} ${each.true} of ${each.judged}`).join(", ")}.
            </p>
          )}
          <p class="acts">
            <button type="button" class="main-act" onClick={() => void startPractice(row.number)}>
              Practise this shift
            </button>
          </p>
          {pictures.value && <Pictures pictures={pictures.value} />}
          <h3>Takes</h3>
          {takes.value.length === 0 && <p class="aside">No take of this shift is kept.</p>}
          {takes.value.map((take) => (
            <Take key={take.take} take={take} onDeleted={() => void load()} />
          ))}
        </section>
      )}
      <section aria-labelledby="all-heading">
        <h2 id="all-heading">All shifts</h2>
        {record.value && (
          <figure class="picture standing">
            <Engraved svg={record.value.standing} label="How secure each shift is, in the order of the music" />
            <figcaption>Full: secure. Half: still open. Empty: not yet. Dash: untried.</figcaption>
          </figure>
        )}
        {rows.length > 0 && <Shifts rows={rows} chosen={chosen.value} onChoose={choose} />}
      </section>
    </main>
  );
}

function Pictures({ pictures }: { pictures: RecordPictures }) {
  return (
    <>
      {pictures.landings && (
        <figure class="picture">
          <Engraved svg={pictures.landings} label={`Landings in mm from the place, ${pictures.last}`} />
          <figcaption>
            Landings in mm from the place. Disc: true. Triangle: high or low. Square: corrected. Diamond: early or late.
            Cross: another note. Ring: cold.
          </figcaption>
        </figure>
      )}
      {pictures.share && (
        <figure class="picture">
          <Engraved svg={pictures.share} label="Share of true landings by day, with 95 % bounds" />
          <figcaption>Share true by day; the band holds it with 95 %.</figcaption>
        </figure>
      )}
      {pictures.diary && (
        <figure class="picture">
          <Engraved svg={pictures.diary} label="Judged attempts by day, of all passages" />
          <figcaption>
            Practice diary, all passages: judged attempts, the true ones filled. Ring: a cold test.
          </figcaption>
        </figure>
      )}
    </>
  );
}

interface ShiftsProps {
  rows: ShiftProgress[];
  chosen: number;
  onChoose: (number: number) => void;
}

/** What the table tells of each shift, with the names of its columns. */
const COLUMNS = {
  standing: "Standing",
  attempts: "Attempts",
  cold: "Cold",
  warm: "Warm",
  bias: "Bias",
  spread: "Spread",
};

function Shifts({ rows, chosen, onChoose }: ShiftsProps) {
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: a region that scrolls must be reachable by key
    <section class="table-frame" tabIndex={0} aria-label="How each shift stands">
      <table class="standings">
        <thead>
          <tr>
            {["Shift", ...Object.values(COLUMNS)].map((name) => (
              <th scope="col" key={name}>
                {name}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {rows.map((each) => (
            <tr key={each.number} class={each.number === chosen ? "chosen" : ""}>
              <th scope="row">
                <button type="button" aria-pressed={each.number === chosen} onClick={() => onChoose(each.number)}>
                  {each.label}
                </button>
              </th>
              {Object.entries(COLUMNS).map(([column, name]) => (
                <td key={column} data-name={name} data-empty={each.attempts === 0}>
                  {column === "standing" && !each.attempts ? "untried" : each[column as keyof typeof COLUMNS]}
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

function Take({ take, onDeleted }: { take: KeptTakeView; onDeleted: () => void }) {
  const sure = useSignal(false);
  const shown = useSignal<string | null>(null);
  const when = new Date(take.recorded_at_s * 1000).toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" });
  return (
    <article class="take">
      <h4>
        {when}, {take.duration_s.toFixed(0)} s
      </h4>
      <ol>
        {take.attempts.map((each) => (
          <li key={each.id}>
            <span class="take-line">
              {each.cold ? "cold" : each.stage}: <strong>{each.verdict}</strong>{" "}
              {each.reason ?? landingLine(each.cents, each.mm)}
              {each.own_ear ? `, own ear said ${each.own_ear}` : ""}
            </span>{" "}
            <button type="button" onClick={() => hear(take.take, each.start_s, each.end_s, 1)}>
              Hear
            </button>{" "}
            <button type="button" onClick={() => hear(take.take, each.start_s, each.end_s, 0.5)}>
              Half speed
            </button>{" "}
            <button
              type="button"
              aria-expanded={shown.value === each.id}
              onClick={() => {
                shown.value = shown.value === each.id ? null : each.id;
              }}
            >
              Pitch
            </button>
            {shown.value === each.id && (
              <div class="still">
                <PitchCanvas
                  departureCents={each.trace_cents[0] ?? -200}
                  toleranceCents={each.tolerance_cents}
                  still={{ times: each.trace_s, cents: each.trace_cents }}
                />
              </div>
            )}
          </li>
        ))}
      </ol>
      <p class="acts">
        {sure.value ? (
          <>
            <button type="button" onClick={() => void attempt(askDelete(take.take)).then(onDeleted)}>
              {take.others > 0
                ? `Delete the whole take for good, with ${take.others} at other shifts`
                : "Delete sound and attempts for good"}
            </button>
            <button
              type="button"
              onClick={() => {
                sure.value = false;
              }}
            >
              Keep it
            </button>
          </>
        ) : (
          <button
            type="button"
            onClick={() => {
              sure.value = true;
            }}
          >
            Delete
          </button>
        )}
      </p>
    </article>
  );
}

let sounding: HTMLAudioElement | null = null;

/** Slowed without changing the pitch, which the media element keeps by itself. */
function hear(take: string, from: number, to: number, rate: number): void {
  sounding?.pause();
  sounding = new Audio(takeSoundUrl(take, Math.max(0, from - 0.2), to + 0.2));
  sounding.playbackRate = rate;
  sounding.volume = 0.6;
  sounding.play().catch(report);
}
