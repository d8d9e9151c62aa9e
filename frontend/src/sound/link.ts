/** The page's end of the worker that talks to the server. */
import type { Level } from "./level";
import UplinkWorker from "./uplink.worker?worker";

type ServerMessage = { type: string } & Record<string, unknown>;
export type Said = { type: string } & Record<string, unknown>;

interface Handlers {
  server: (message: ServerMessage) => void;
  link: (up: boolean, refused: boolean) => void;
  level: (level: Level, waiting: number) => void;
  gap: (frames: number) => void;
  /** What could not be said, because the server is gone. */
  unsent: (message: Said) => void;
  samples: (frame: number, samples: Float32Array) => void;
}

let worker: Worker | null = null;

/** Opens the line to the server, for the room of this name. */
export function connect(room: string, handlers: Handlers): void {
  worker = new UplinkWorker();
  worker.onmessage = (event) => {
    const data = event.data;
    if (data.type === "server") handlers.server(data.message);
    else if (data.type === "link") handlers.link(data.up, Boolean(data.refused));
    else if (data.type === "level") handlers.level(data.level, data.waiting);
    else if (data.type === "gap") handlers.gap(data.frames);
    else if (data.type === "samples") handlers.samples(data.frame, data.samples);
    else handlers.unsent(data.message);
  };
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  worker.postMessage({ type: "connect", url: `${scheme}://${location.host}/live`, room });
}

export function say(message: Said): void {
  worker?.postMessage({ type: "send", message });
}

export function capture(port: MessagePort, rate: number): void {
  worker?.postMessage({ type: "capture", port, rate }, [port]);
}

export function openTake(purpose: string, about: Record<string, unknown>): string {
  const take = crypto.randomUUID();
  worker?.postMessage({ type: "open", opening: { take, purpose, about } });
  return take;
}

export function closeTake(): void {
  worker?.postMessage({ type: "close" });
}

export function maskFrames(fromFrame: number, toFrame: number): void {
  worker?.postMessage({ type: "mask", fromFrame: Math.round(fromFrame), toFrame: Math.round(toFrame) });
}

export function sendBeats(frames: number[]): void {
  worker?.postMessage({ type: "beats", frames: frames.map(Math.round) });
}

export function tapSamples(on: boolean): void {
  worker?.postMessage({ type: "tap", on });
}
