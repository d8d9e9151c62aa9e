/** What the room sounds: reference tones, clicks, and a short sound for each verdict. All on the audio clock. */
import { metronome } from "../state/room";
import { maskFrames, sendBeats, tapSamples } from "./link";
import { audioContext } from "./mic";

const QUIET = 0.35;
const TAIL_S = 0.2;

let reference: { source: AudioBufferSourceNode; done: () => void } | null = null;

/** Play a sound of the server's; resolves when it has sounded or was cut off. */
export async function playReference(url: string, rate = 1): Promise<void> {
  const context = audioContext();
  if (!context) return;
  stopReference();
  const answer = await fetch(url);
  if (!answer.ok) throw new Error("The reference could not be made.");
  const buffer = await context.decodeAudioData(await answer.arrayBuffer());
  await context.resume();
  await new Promise<void>((done) => {
    const source = new AudioBufferSourceNode(context, { buffer, playbackRate: rate });
    const gain = new GainNode(context, { gain: QUIET });
    source.connect(gain).connect(context.destination);
    source.onended = () => done();
    // A context that is closed meanwhile, with its microphone, never says that a sound has ended.
    setTimeout(done, (1000 * buffer.duration) / rate + 500);
    reference = { source, done };
    source.start();
    maskFrames(
      context.currentTime * context.sampleRate,
      (context.currentTime + buffer.duration / rate + TAIL_S) * context.sampleRate,
    );
  });
}

export function stopReference(): void {
  reference?.source.stop();
  reference?.done();
  reference = null;
}

/** Notes of each verdict's sound: start in s, frequency in Hz at start and end. */
const VERDICT_SOUNDS: Record<string, [number, number, number][]> = {
  true: [[0, 660, 660]],
  high: [
    [0, 520, 520],
    [0.13, 700, 700],
  ],
  low: [
    [0, 520, 520],
    [0.13, 390, 390],
  ],
  corrected: [[0, 460, 560]],
  "wrong note": [
    [0, 300, 300],
    [0.13, 300, 300],
  ],
  late: [
    [0, 520, 520],
    [0.2, 520, 520],
  ],
  early: [
    [0, 520, 520],
    [0.07, 520, 520],
  ],
};
const NOTE_S = 0.11;

export function soundVerdict(verdict: string): void {
  const context = audioContext();
  const notes = VERDICT_SOUNDS[verdict];
  if (!context || !notes) return;
  const begin = context.currentTime + 0.01;
  for (const [at, from, to] of notes) tone(context, begin + at, NOTE_S, from, to, 0.12);
  const end = begin + (notes.at(-1)?.[0] ?? 0) + NOTE_S;
  maskFrames(context.currentTime * context.sampleRate, (end + TAIL_S) * context.sampleRate);
}

/** A sound from `at` on, loudest after `riseS`: short enough in a click for its time to be its beginning. */
function tone(
  context: AudioContext,
  at: number,
  length: number,
  from: number,
  to: number,
  loud: number,
  riseS = 0.015,
): void {
  const oscillator = new OscillatorNode(context, { type: "triangle", frequency: from });
  const gain = new GainNode(context, { gain: 0 });
  oscillator.frequency.setValueAtTime(from, at);
  oscillator.frequency.linearRampToValueAtTime(to, at + length);
  gain.gain.setValueAtTime(0, at);
  gain.gain.linearRampToValueAtTime(loud, at + riseS);
  gain.gain.linearRampToValueAtTime(0, at + length);
  oscillator.connect(gain).connect(context.destination);
  oscillator.start(at);
  oscillator.stop(at + length + 0.02);
}

// The click -----------------------------------------------------------------------------------------------------------

export interface Pulse {
  bpm: number;
  countIn: number;
  /** Beats of a bar. */
  bar: number;
  /** Beats of one round of the exercise, and those in it, counted from 0, on which an arrival falls. */
  length: number;
  arrivals: number[];
}

export const LONGEST_CLICK_S = 600;

/** Times of the arrivals, in seconds after the first click. */
export function arrivalTimes(pulse: Pulse, forSeconds = LONGEST_CLICK_S): number[] {
  const period = 60 / pulse.bpm;
  const times: number[] = [];
  for (let round = pulse.countIn; round * period < forSeconds; round += pulse.length) {
    for (const arrival of pulse.arrivals) times.push((round + arrival) * period);
  }
  return times.filter((time) => time < forSeconds);
}

let ticking: ReturnType<typeof setInterval> | null = null;

/** Count in and go on clicking; the server learns where the arrivals should fall. */
export function startClick(pulse: Pulse, latencyS: number, counted: () => void): void {
  const context = audioContext();
  if (!context) return;
  stopClick();
  const period = 60 / pulse.bpm;
  const first = context.currentTime + 0.3;
  sendBeats(arrivalTimes(pulse).map((time) => (first + time + latencyS) * context.sampleRate));
  let next = 0;
  ticking = setInterval(() => {
    while (first + next * period < context.currentTime + 0.4) {
      const beat = next;
      const at = first + beat * period;
      const inBar = beat % pulse.bar;
      click(context, at, inBar === 0);
      setTimeout(
        () => {
          metronome.value = inBar;
          if (beat === pulse.countIn - 1) setTimeout(counted, period * 500);
        },
        Math.max(0, (at - context.currentTime) * 1000),
      );
      next += 1;
    }
  }, 100);
}

export function stopClick(): void {
  if (ticking !== null) clearInterval(ticking);
  ticking = null;
  metronome.value = null;
}

function click(context: AudioContext, at: number, strong: boolean): void {
  tone(context, at, 0.03, strong ? 1760 : 1320, strong ? 1760 : 1320, 0.25, 0.001);
}

// Calibration ---------------------------------------------------------------------------------------------------------

export interface Recorded {
  samples: Float32Array;
  rate: number;
  firstS: number;
  clicksS: number[];
}

let collect: ((frame: number, samples: Float32Array) => void) | null = null;

export function collected(frame: number, samples: Float32Array): void {
  collect?.(frame, samples);
}

/** Eight clicks into the room, and what the microphone heard of them. */
export async function clickAndRecord(): Promise<Recorded | null> {
  const context = audioContext();
  if (!context) return null;
  const blocks: { frame: number; samples: Float32Array }[] = [];
  collect = (frame, samples) => blocks.push({ frame, samples });
  tapSamples(true);
  const first = context.currentTime + 0.5;
  const clicksS = Array.from({ length: 8 }, (_, i) => first + 0.5 * i);
  for (const at of clicksS) click(context, at, false);
  await new Promise((done) => setTimeout(done, 5200));
  tapSamples(false);
  collect = null;
  const head = blocks[0];
  const last = blocks.at(-1);
  if (!head || !last) return null;
  const samples = new Float32Array(last.frame + last.samples.length - head.frame);
  for (const block of blocks) samples.set(block.samples, block.frame - head.frame);
  return { samples, rate: context.sampleRate, firstS: head.frame / context.sampleRate, clicksS };
}
