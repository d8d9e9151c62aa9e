/** How the practice runs. */
import { type Signal, useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { measureLatency } from "../sound/calibrate";
import { clickAndRecord, stopClick } from "../sound/sounds";
import { act, changePractice } from "../state/conduct";
import * as room from "../state/room";

export function How({ onClose }: { onClose: () => void }) {
  const dialog = useRef<HTMLDialogElement>(null);
  const stage = room.stage.value;
  const beat = room.practice.value?.clicks && stage?.beat;
  useEffect(() => {
    dialog.current?.showModal();
  }, []);
  return (
    <dialog ref={dialog} class="how" onClose={onClose} aria-labelledby="how-title">
      <h2 id="how-title">How to practise</h2>
      {stage && (
        <p class="how-now">
          <strong>{stage.heading}.</strong> {stage.instruction}
        </p>
      )}
      <Switch value={room.ownEarOn} label="Own ear first" about="Say high, low or true before the room tells." />
      <Switch value={room.soundsOn} label="A short sound for each verdict" about="For practice with closed eyes." />
      <Switch value={room.byItself} label="Go on by itself" about="Without pedal or key." />
      <Switch value={room.traceShown} label="Show the pitch line" about="Looking is a crutch; hide it when you can." />
      <Switch value={room.mirrored} label="Left-handed" about="The nut to the right." />
      <p class="fields">
        <label>
          Click{" "}
          <input
            type="number"
            min={20}
            max={240}
            value={room.tempoBpm.value}
            onChange={(event) => {
              const bpm = Number(event.currentTarget.value);
              if (bpm >= 20 && bpm <= 240) room.tempoBpm.value = bpm;
              changePractice();
            }}
          />{" "}
          {beat ? `${beat}s a minute` : "a minute"}
        </label>
        <label>
          Light{" "}
          <select
            value={room.theme.value}
            onChange={(event) => {
              room.theme.value = event.currentTarget.value as never;
            }}
          >
            <option value="system">as the system</option>
            <option value="light">light</option>
            <option value="dark">dark</option>
          </select>
        </label>
      </p>
      <Latency />
      <p class="acts last">
        <button type="button" class="main-act" onClick={() => dialog.current?.close()}>
          Done
        </button>
      </p>
    </dialog>
  );
}

function Switch({ value, label, about }: { value: Signal<boolean>; label: string; about: string }) {
  return (
    <p class="switch">
      <label>
        <input
          type="checkbox"
          checked={value.value}
          onChange={(event) => {
            value.value = event.currentTarget.checked;
            changePractice();
          }}
        />
        {label}
      </label>
      <small>{about}</small>
    </p>
  );
}

function Latency() {
  const said = useSignal("");
  const busy = useSignal(false);
  const measure = async () => {
    busy.value = true;
    said.value = "Eight clicks: keep still.";
    stopClick();
    const recorded = await clickAndRecord();
    const found = recorded && measureLatency(recorded.samples, recorded.rate, recorded.firstS, recorded.clicksS);
    busy.value = false;
    if (room.practice.value?.clicks) act("again");
    if (!found) {
      said.value = "The clicks were not heard clearly. Use a loudspeaker, not headphones, and a quiet room.";
      return;
    }
    room.latencyMs.value = Math.round(found.latencyS * 1000);
    said.value = `Heard ${found.heard} of 8 clicks, ${Math.round(found.latencyS * 1000)} ms later.`;
  };
  return (
    <div class="latency">
      <p class="fields">
        <label>
          Latency of click and microphone{" "}
          <input
            type="number"
            min={0}
            max={1000}
            value={room.latencyMs.value ?? 0}
            onChange={(event) => {
              const value = Number(event.currentTarget.value);
              if (value >= 0 && value <= 1000) room.latencyMs.value = value;
            }}
          />{" "}
          ms
        </label>
        <button type="button" disabled={busy.value} onClick={() => void measure()}>
          Measure it
        </button>
      </p>
      <p class="aside" role="status">
        {said.value ||
          "The click leaves the loudspeaker late and comes back later. Measure it once for each loudspeaker and microphone."}
      </p>
    </div>
  );
}
