/** The music: the built-in study, a file, one shift in words, or a passage from before. */
import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { askDemo, askFile, askSettings, askTyped } from "../state/ask";
import { attempt, takeSettings } from "../state/conduct";
import { loadStart, openPassage, readAgain, showPassage, whileReading } from "../state/opening";
import { reading, start } from "../state/room";
import type { PassageView, RoomSettings } from "../state/shapes";

export function Choose() {
  const busy = reading.value > 0;
  const typed = useSignal("");
  const part = useSignal("");
  const measures = useSignal("");
  const over = useSignal(false);
  useEffect(() => void loadStart(), []);
  const run = async (asked: Promise<PassageView>) => {
    showPassage(await whileReading(asked));
  };
  const takeFile = (files: FileList | null | undefined) => {
    const file = files?.[0];
    if (file && !busy) void run(askFile(file, part.value, measures.value));
  };
  return (
    <main class="sheet choose" aria-busy={busy}>
      <h1 tabIndex={-1}>Choose the music</h1>
      <div class="ways">
        <section aria-labelledby="study-heading">
          <h2 id="study-heading">The built-in study</h2>
          <p>A short fingered study for violin, with a shift of every kind.</p>
          <p class="acts">
            <button type="button" class="main-act" disabled={busy} onClick={() => void run(askDemo())}>
              Open the study
            </button>
          </p>
        </section>
        <section aria-labelledby="file-heading">
          <h2 id="file-heading">A file of yours</h2>
          <p class="fields">
            <label>
              Bars{" "}
              <input
                value={measures.value}
                placeholder="all, or 9-16"
                onInput={(event) => {
                  measures.value = event.currentTarget.value;
                }}
              />
            </label>
            <label>
              Part{" "}
              <input
                value={part.value}
                placeholder="the first"
                onInput={(event) => {
                  part.value = event.currentTarget.value;
                }}
              />
            </label>
          </p>
          <label
            class={`drop ${over.value ? "over" : ""}`}
            onDragOver={(event) => {
              event.preventDefault();
              over.value = true;
            }}
            onDragLeave={() => {
              over.value = false;
            }}
            onDrop={(event) => {
              event.preventDefault();
              over.value = false;
              takeFile(event.dataTransfer?.files);
            }}
          >
            <span>Pick MusicXML (.musicxml, .xml, .mxl), ABC or MIDI, or drop it here</span>
            <input
              type="file"
              accept=".musicxml,.xml,.mxl,.abc,.mid,.midi"
              onChange={(event) => {
                takeFile(event.currentTarget.files);
                // The same file can be picked again, for other bars.
                event.currentTarget.value = "";
              }}
            />
          </label>
        </section>
        <section aria-labelledby="typed-heading">
          <h2 id="typed-heading">One shift in words</h2>
          <form
            class="typed"
            onSubmit={(event) => {
              event.preventDefault();
              if (typed.value.trim()) void run(askTyped(typed.value));
            }}
          >
            <label>
              String, finger, note: from and to{" "}
              <input
                value={typed.value}
                placeholder="A 1 B4 > A 3 F#5"
                onInput={(event) => {
                  typed.value = event.currentTarget.value;
                }}
              />
            </label>
            <button type="submit" disabled={busy || !typed.value.trim()}>
              Make it
            </button>
          </form>
        </section>
        {(start.value?.passages.length ?? 0) > 0 && (
          <section aria-labelledby="before-heading" class="all-ways">
            <h2 id="before-heading">From before</h2>
            <ul class="before">
              {start.value?.passages.map((each) => (
                <li key={each.id}>
                  <button type="button" disabled={busy} onClick={() => void openPassage(each.id)}>
                    <span>
                      {each.title || "Untitled"}
                      <small>
                        {each.instrument}, {each.shifts} {each.shifts === 1 ? "shift" : "shifts"}
                      </small>
                    </span>
                  </button>
                </li>
              ))}
            </ul>
          </section>
        )}
      </div>
      <Options />
    </main>
  );
}

const GUIDES: [string, string][] = [
  ["lower", "lower-numbered finger"],
  ["departure", "departure finger"],
  ["arrival", "arrival finger"],
];
const SYSTEMS: [string, string][] = [
  ["strings", "my measured strings"],
  ["pythagorean", "pure fifths from A"],
  ["equal", "equal (with piano)"],
];
const NUMBERINGS: [string, string][] = [
  ["lower-upper", "lower and upper, by the semitone"],
  ["major-scale", "by the major scale"],
];
const TUNINGS: Record<string, string> = {
  solo: "four, solo tuning",
  "five-b": "five, low B",
  "five-c": "five, low C",
  extension: "four, extension to C",
};
const TOLERANCES: [string, string][] = [
  ["first lessons", "first lessons, 30 cents"],
  ["student", "student, 20 cents"],
  ["concert", "concert, 10 cents"],
];

function Options() {
  const view = start.value;
  if (!view) return null;
  const settings = view.settings;
  const change = async (part: Partial<RoomSettings>) => {
    const kept = await attempt(askSettings(part));
    if (kept) takeSettings(kept);
    if (kept) await readAgain("instrument" in part);
  };
  const choice = (label: string, name: keyof RoomSettings, options: [string, string][]) => (
    <label>
      {label}{" "}
      <select
        value={String(settings[name] ?? "")}
        onChange={(event) => void change({ [name]: event.currentTarget.value || null })}
      >
        {options.map(([value, words]) => (
          <option key={value} value={value}>
            {words}
          </option>
        ))}
      </select>
    </label>
  );
  const tunings = view.instruments[settings.instrument]?.tunings ?? [];
  const sizes = view.instruments[settings.instrument]?.sizes ?? {};
  const usual = view.instruments[settings.instrument]?.usual ?? "";
  const length = sizes[settings.size ?? usual];
  return (
    <section aria-labelledby="how-heading">
      <h2 id="how-heading">How it is read and judged</h2>
      <p class="fields options">
        {choice(
          "Instrument",
          "instrument",
          Object.keys(view.instruments).map((name) => [name, name]),
        )}
        {choice("Size", "size", [
          ["", `usual (${usual})`],
          ...Object.keys(sizes).map((size): [string, string] => [size, size]),
        ])}
        <label>
          <span>
            String length <small>in mm, nut to bridge</small>
          </span>{" "}
          <input
            type="number"
            min={100}
            max={1300}
            step={0.5}
            value={settings.length_mm ?? ""}
            placeholder={String(length ?? "")}
            onChange={(event) => void change({ length_mm: Number(event.currentTarget.value) || null })}
          />
        </label>
        {tunings.length > 0 &&
          choice("Strings", "strings", [
            ["", "the usual four"],
            ...tunings.map((name): [string, string] => [name, TUNINGS[name] ?? name]),
            ...(settings.strings && !tunings.includes(settings.strings)
              ? [[settings.strings, "as below"] as [string, string]]
              : []),
          ])}
        <label>
          Open strings, I first{" "}
          <input
            value={settings.strings && !tunings.includes(settings.strings) ? settings.strings : ""}
            placeholder={view.open_strings.join(" ")}
            onChange={(event) => void change({ strings: event.currentTarget.value.trim() || null })}
          />
        </label>
        {choice("Tuning system", "intonation", SYSTEMS)}
        {choice("True means within", "tolerance", TOLERANCES)}
        {choice("The hand is carried by the", "guide", GUIDES)}
        {settings.instrument === "cello" && choice("Positions are numbered", "numbering", NUMBERINGS)}
      </p>
    </section>
  );
}
