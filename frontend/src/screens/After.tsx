/** The record of this passage's shifts, and every take to hear again. */
import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import uPlot from "uplot";
import { PitchCanvas } from "../parts/PitchCanvas";
import { landingLine } from "../parts/words";
import { askDelete, askProgress, askTakes, type KeptTakeView, type ShiftProgress, takeSoundUrl } from "../state/ask";
import { attempt, report, startPractice } from "../state/conduct";
import { mic, passage, shiftNumber } from "../state/room";

export function After() {
  const rows = useSignal<ShiftProgress[] | null>(null);
  const takes = useSignal<KeptTakeView[]>([]);
  const chosen = useSignal(shiftNumber.value || 0);
  const id = passage.value?.id;
  const load = async () => {
    if (!id) return;
    rows.value = await attempt(askProgress(id));
    if (chosen.value === 0) chosen.value = rows.value?.find((each) => each.attempts > 0)?.number ?? 1;
    takes.value = (await attempt(askTakes(id, chosen.value))) ?? [];
  };
  useEffect(() => {
    void load();
  }, [id, chosen.value]);
  const row = rows.value?.find((each) => each.number === chosen.value);
  return (
    <main class="sheet after">
      <h1>The record</h1>
      {row && (
        <section aria-labelledby="one-heading">
          <h2 id="one-heading">Shift {row.number}</h2>
          <p class="lead">{row.sentence}</p>
          {row.exercise && <p>{row.exercise}</p>}
          {row.own_ear && <p>{row.own_ear}</p>}
          {row.landings.length > 1 && <Landings landings={row.landings} />}
          <p class="acts">
            <button
              type="button"
              class="main-act"
              disabled={mic.value !== "on"}
              onClick={() => startPractice(row.number)}
            >
              Practise this shift
            </button>
          </p>
          <h3>Takes</h3>
          {takes.value.length === 0 && <p class="aside">No take of this shift is kept.</p>}
          {takes.value.map((take) => (
            <Take key={take.take} take={take} onDeleted={() => void load()} />
          ))}
        </section>
      )}
      <h2>All shifts</h2>
      <div class="table-frame">
        <table>
          <caption class="visually-hidden">How each shift stands</caption>
          <thead>
            <tr>
              <th scope="col">Shift</th>
              <th scope="col">Attempts</th>
              <th scope="col">Cold</th>
              <th scope="col">Warm</th>
              <th scope="col">Bias</th>
              <th scope="col">Spread</th>
            </tr>
          </thead>
          <tbody>
            {(rows.value ?? []).map((each) => (
              <tr key={each.number} class={each.number === chosen.value ? "chosen" : ""}>
                <th scope="row">
                  <button
                    type="button"
                    aria-pressed={each.number === chosen.value}
                    onClick={() => {
                      chosen.value = each.number;
                    }}
                  >
                    {each.label}
                  </button>
                </th>
                <td>{each.attempts}</td>
                <td>{each.cold}</td>
                <td>{each.warm}</td>
                <td>{each.bias}</td>
                <td>{each.spread}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </main>
  );
}

function Take({ take, onDeleted }: { take: KeptTakeView; onDeleted: () => void }) {
  const sure = useSignal(false);
  const shown = useSignal<string | null>(null);
  const when = new Date(take.recorded_at_s * 1000).toLocaleString();
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
              Delete sound and attempts for good
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

function Landings({ landings }: { landings: ShiftProgress["landings"] }) {
  const host = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const element = host.current;
    if (!element) return;
    const style = getComputedStyle(element);
    const ink = style.getPropertyValue("--ink");
    const soft = style.getPropertyValue("--soft");
    const axis = { stroke: soft, grid: { stroke: style.getPropertyValue("--line"), width: 1 } };
    const plot = new uPlot(
      {
        width: element.clientWidth,
        height: 220,
        legend: { show: false },
        scales: { x: { time: false } },
        axes: [
          { ...axis, label: "attempt", labelGap: 0 },
          { ...axis, label: "mm from the place" },
        ],
        series: [{}, { stroke: ink, width: 1, dash: [2, 4], points: { show: true, size: 9, fill: ink } }],
      },
      [landings.map((_, index) => index + 1), landings.map((each) => each.mm)],
      element,
    );
    return () => plot.destroy();
  }, [landings]);
  const last = landings.at(-1);
  return (
    <div
      ref={host}
      class="plot"
      role="img"
      aria-label={`Landings over ${landings.length} attempts, the last ${last?.mm.toFixed(1)} mm from the place`}
    />
  );
}
