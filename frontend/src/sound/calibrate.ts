/** Latency: how long after the audio clock a click comes back through loudspeaker and microphone. */

export interface Calibration {
  latencyS: number;
  spreadS: number;
  heard: number;
}

const HOP_S = 0.001;
const SEARCH_S = 0.4;

/**
 * Where each click begins in the recording, against when it was sent. `firstS` is the time of the first sample on the
 * same clock. Null where fewer than half of the clicks were heard, or where they disagree by more than 15 ms.
 */
export function measureLatency(
  samples: Float32Array,
  rate: number,
  firstS: number,
  clicksS: number[],
): Calibration | null {
  const hop = Math.max(1, Math.round(HOP_S * rate));
  const envelope = peaks(samples, hop);
  const floor = median([...envelope]) + 1e-5;
  const delays: number[] = [];
  for (const click of clicksS) {
    const from = Math.max(0, Math.round(((click - firstS) * rate) / hop));
    const window = envelope.subarray(from, from + Math.round((SEARCH_S * rate) / hop));
    const top = Math.max(...window);
    if (top < 8 * floor) continue;
    const onset = window.findIndex((value) => value > top / 2);
    delays.push(firstS + ((from + onset) * hop) / rate - click);
  }
  if (delays.length < clicksS.length / 2) return null;
  const latencyS = median(delays);
  const spreadS = median(delays.map((delay) => Math.abs(delay - latencyS)));
  return spreadS > 0.015 ? null : { latencyS, spreadS, heard: delays.length };
}

function peaks(samples: Float32Array, hop: number): Float32Array {
  const out = new Float32Array(Math.floor(samples.length / hop));
  for (let i = 0; i < out.length; i += 1) {
    let top = 0;
    for (let j = i * hop; j < (i + 1) * hop; j += 1) top = Math.max(top, Math.abs(samples[j] as number));
    out[i] = top;
  }
  return out;
}

function median(values: number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? 0;
}
