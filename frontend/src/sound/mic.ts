/** The microphone, untouched by any processing, into the worker. */
import { type MicState, mic, microphone, microphones } from "../state/room";
import workletUrl from "./capture.worklet?worker&url";
import { capture } from "./link";

let context: AudioContext | null = null;
let stream: MediaStream | null = null;

const WHY: Record<string, MicState> = {
  NotAllowedError: "refused",
  SecurityError: "refused",
  NotFoundError: "missing",
  OverconstrainedError: "missing",
  NotReadableError: "taken",
  AbortError: "taken",
};

export function audioContext(): AudioContext | null {
  return context;
}

export async function openMic(): Promise<boolean> {
  if (!navigator.mediaDevices?.getUserMedia || typeof AudioWorkletNode === "undefined") {
    mic.value = "unsupported";
    return false;
  }
  mic.value = "asking";
  try {
    const before = stream;
    stream = await askMicrophone();
    for (const track of before?.getAudioTracks() ?? []) track.stop();
    await listen(stream);
    mic.value = "on";
    void nameMicrophones(stream);
    return true;
  } catch (error) {
    mic.value = WHY[(error as DOMException).name] ?? "taken";
    return false;
  }
}

const UNTOUCHED = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };

/** The microphone that the player chose; the browser's usual one where none was, or where it is not there now. */
async function askMicrophone(): Promise<MediaStream> {
  const deviceId = { exact: microphone.value };
  try {
    if (microphone.value) return await navigator.mediaDevices.getUserMedia({ audio: { ...UNTOUCHED, deviceId } });
  } catch (error) {
    if (WHY[(error as DOMException).name] !== "missing") throw error;
  }
  return navigator.mediaDevices.getUserMedia({ audio: UNTOUCHED });
}

/** The microphones that there are, the one in use first; browsers name them once one was allowed. */
async function nameMicrophones(used: MediaStream): Promise<void> {
  const now = used.getAudioTracks()[0]?.getSettings().deviceId ?? "";
  const found = (await navigator.mediaDevices.enumerateDevices())
    .filter((each) => each.kind === "audioinput" && each.label !== "")
    .map((each) => ({ id: each.deviceId, name: each.label }));
  microphones.value = [...found.filter((each) => each.id === now), ...found.filter((each) => each.id !== now)];
}

async function listen(from: MediaStream): Promise<void> {
  await context?.close();
  context = new AudioContext({ latencyHint: "interactive" });
  await context.audioWorklet.addModule(workletUrl);
  const node = new AudioWorkletNode(context, "capture", { numberOfInputs: 1, numberOfOutputs: 1 });
  const channel = new MessageChannel();
  node.port.postMessage("out", [channel.port1]);
  capture(channel.port2, context.sampleRate);
  const mute = new GainNode(context, { gain: 0 });
  context.createMediaStreamSource(from).connect(node).connect(mute).connect(context.destination);
  for (const track of from.getAudioTracks()) {
    track.onended = () => {
      mic.value = "lost";
    };
  }
  if (context.state === "suspended") await context.resume();
}

/** Pedals and taps unlock the sound where the browser held it back. */
export function wakeSound(): void {
  if (context?.state === "suspended") void context.resume();
}
