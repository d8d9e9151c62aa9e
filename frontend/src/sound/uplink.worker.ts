/** Sends the sound from a thread of its own, so that a busy page delays nothing; reconnects and sends again. */
import { packBlock, toInt16 } from "../wire";
import { Journal } from "./journal";
import { measureLevel } from "./level";
import { Outbox, type Parcel } from "./outbox";

type FromPage =
  | { type: "connect"; url: string; room: string }
  | { type: "capture"; port: MessagePort; rate: number }
  | { type: "open"; opening: { take: string; purpose: string; about: Record<string, unknown> } }
  | { type: "close" }
  | { type: "mask"; fromFrame: number; toFrame: number }
  | { type: "beats"; frames: number[] }
  | { type: "tap"; on: boolean }
  | { type: "send"; message: object };

const post = (message: unknown) => (self as unknown as Worker).postMessage(message);
const outbox = new Outbox();
const PAUSES_MS = [100, 250, 500, 1000, 2000];

let url = "";
let socket: WebSocket | null = null;
let attempts = 0;
let rate = 44100;
/** Context frame that is frame 0 of the current take; null until its first block comes. */
let origin: number | null = null;
let room = "";
let journal: Journal | null = null;
/** Whether the page is in a practice: one that was loaded anew is not, before the player begins or goes on. */
let practising = false;
/** When the last blocks of the take were captured: [last frame in the take, ms on the system clock]. */
const captures: [number, number][] = [];
const CAPTURES_KEPT = 1024;
/** Whether the page wants the samples themselves, for the latency calibration. */
let tapped = false;

function ready(): boolean {
  return socket?.readyState === WebSocket.OPEN;
}

function deliver(parcels: Parcel[]): void {
  if (!ready()) return;
  for (const parcel of parcels) {
    if (parcel.kind === "text") socket?.send(JSON.stringify(parcel.message));
    else socket?.send(packBlock(parcel.slot, parcel.firstFrame, parcel.samples));
  }
}

function connect(): void {
  const opened = new WebSocket(url);
  socket = opened;
  opened.onopen = () => {
    attempts = 0;
    opened.send(JSON.stringify({ type: "hello", room, practising, holds: outbox.names }));
    deliver(outbox.everythingAgain());
    post({ type: "link", up: true });
  };
  opened.onmessage = (event) => {
    const message = JSON.parse(event.data as string);
    if (message.type === "ack") {
      outbox.acknowledge(message.take, message.frames, message.closed);
      journal?.follow(outbox, performance.now());
      return;
    }
    if (message.type === "landing") message.captured = capturedAt(message.frames);
    post({ type: "server", message });
  };
  opened.onclose = (event) => {
    if (socket !== opened) return;
    post({ type: "link", up: false, refused: event.code === 4403 || event.code === 1008 });
    const pause = PAUSES_MS[Math.min(attempts++, PAUSES_MS.length - 1)] as number;
    setTimeout(connect, pause);
  };
}

/** A note in frames of the audio clock can only be told once the take's first frame is known. */
type Note = (start: number) => object;
const waitingNotes: Note[] = [];

function onceBegun(note: Note): void {
  if (outbox.current === null) return;
  if (origin === null) waitingNotes.push(note);
  else tellNote(note, origin);
}

function tellNote(note: Note, start: number): void {
  deliver(outbox.note({ ...note(start), take: outbox.current }));
}

/** A stretch in which the take holds no sound from the microphone alone: the room's own, or silence for what was lost. */
function tellMask(fromFrame: number, toFrame: number): void {
  onceBegun((start) => ({ type: "mask", from: Math.max(0, fromFrame - start), to: Math.max(0, toFrame - start) }));
}

/** When the block with this frame came from the audio thread; null where that is too long ago. */
function capturedAt(frame: number): number | null {
  return captures.find(([last]) => last >= frame)?.[1] ?? null;
}

function captured(event: MessageEvent): void {
  const data = event.data as { type: string; frame: number; samples: Float32Array; frames: number };
  if (data.type === "gap") {
    post({ type: "gap", frames: data.frames });
    if (origin !== null) tellMask(data.frame, data.frame + data.frames);
    return;
  }
  const samples = toInt16(data.samples);
  if (outbox.current && origin === null) {
    origin = data.frame;
    for (const note of waitingNotes.splice(0)) tellNote(note, origin);
  }
  deliver(outbox.add(samples));
  captures.push([outbox.frames, performance.timeOrigin + performance.now()]);
  if (captures.length > CAPTURES_KEPT) captures.shift();
  journal?.follow(outbox, performance.now());
  if (tapped) post({ type: "samples", frame: data.frame, samples: data.samples });
  post({ type: "level", level: measureLevel(samples), waiting: outbox.waitingSeconds });
}

/** First what the page before this one had not got rid of, then the server. */
async function begin(): Promise<void> {
  journal = new Journal(room);
  for (const { kept, pieces } of await journal.open()) outbox.restore(kept, pieces);
  connect();
}

self.onmessage = (event: MessageEvent<FromPage>) => {
  const data = event.data;
  if (data.type === "connect") {
    url = data.url;
    room = data.room;
    void begin();
  } else if (data.type === "capture") {
    rate = data.rate;
    data.port.onmessage = captured;
  } else if (data.type === "open") {
    deliver(outbox.close());
    origin = null;
    captures.length = 0;
    waitingNotes.length = 0;
    deliver(outbox.open({ ...data.opening, sampleRate: rate } as never));
  } else if (data.type === "close") {
    deliver(outbox.close());
    origin = null;
  } else if (data.type === "mask") {
    tellMask(data.fromFrame, data.toFrame);
  } else if (data.type === "beats") {
    const { frames } = data;
    onceBegun((start) => ({ type: "beats", frames: frames.map((frame) => frame - start) }));
  } else if (data.type === "tap") {
    tapped = data.on;
  } else {
    const message = data.message as { type?: string; act?: string };
    if (message.act === "leave") practising = false;
    if (!ready()) {
      post({ type: "unsent", message });
      return;
    }
    if (message.type === "begin" || message.type === "go-on") practising = true;
    socket?.send(JSON.stringify(message));
  }
};
