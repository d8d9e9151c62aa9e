/** What page and server say to each other. One WebSocket: text is JSON, bytes are sound. */

export const HEADER_BYTES = 8;

/** A block of sound: number of the take in this connection, first frame, then 16-bit little-endian samples. */
export function packBlock(slot: number, firstFrame: number, samples: Int16Array): ArrayBuffer {
  const bytes = new ArrayBuffer(HEADER_BYTES + samples.length * 2);
  const view = new DataView(bytes);
  view.setUint32(0, slot, true);
  view.setUint32(4, firstFrame, true);
  for (let i = 0; i < samples.length; i += 1) view.setInt16(HEADER_BYTES + 2 * i, samples[i] as number, true);
  return bytes;
}

/** Float samples as 16-bit integers, the inverse of what a 16-bit microphone file becomes in the browser. */
export function toInt16(samples: Float32Array): Int16Array {
  const out = new Int16Array(samples.length);
  for (let i = 0; i < samples.length; i += 1) {
    out[i] = Math.max(-32768, Math.min(32767, Math.round((samples[i] as number) * 32768)));
  }
  return out;
}

export type Purpose = "practice" | "tune" | "sing" | "settle" | "through";

export interface TakeOpening {
  take: string;
  purpose: Purpose;
  sampleRate: number;
  /** What the server must know to listen: room, stage, string… */
  about: Record<string, unknown>;
}
