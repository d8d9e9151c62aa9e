/** The audio thread: counts frames from the first sound on, fills what was dropped with silence and says so. */
declare const currentFrame: number;
declare function registerProcessor(name: string, processor: unknown): void;
declare class AudioWorkletProcessor {
  readonly port: MessagePort;
}

const BLOCK = 512;

class Capture extends AudioWorkletProcessor {
  private out: MessagePort | null = null;
  private expected = -1;
  private buffer = new Float32Array(BLOCK);
  private filled = 0;
  private start = 0;

  constructor() {
    super();
    this.port.onmessage = (event) => {
      this.out = event.ports[0] ?? null;
    };
  }

  process(inputs: Float32Array[][]): boolean {
    const channel = inputs[0]?.[0];
    if (!channel || channel.length === 0 || !this.out) return true;
    if (this.expected >= 0 && currentFrame > this.expected) this.fill(currentFrame - this.expected);
    this.push(channel, currentFrame);
    this.expected = currentFrame + channel.length;
    return true;
  }

  private fill(missing: number): void {
    this.out?.postMessage({ type: "gap", frame: this.expected, frames: missing });
    const silence = new Float32Array(BLOCK);
    for (let done = 0; done < missing; done += BLOCK) {
      this.push(silence.subarray(0, Math.min(BLOCK, missing - done)), this.expected + done);
    }
  }

  private push(samples: Float32Array, frame: number): void {
    let taken = 0;
    while (taken < samples.length) {
      if (this.filled === 0) this.start = frame + taken;
      const part = Math.min(BLOCK - this.filled, samples.length - taken);
      this.buffer.set(samples.subarray(taken, taken + part), this.filled);
      this.filled += part;
      taken += part;
      if (this.filled === BLOCK) this.send();
    }
  }

  private send(): void {
    const block = this.buffer;
    this.out?.postMessage({ type: "block", frame: this.start, samples: block }, [block.buffer]);
    this.buffer = new Float32Array(BLOCK);
    this.filled = 0;
  }
}

registerProcessor("capture", Capture);
