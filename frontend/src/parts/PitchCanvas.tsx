/** The pitch of the last seconds, drawn every frame: the slide, the target line and what counts as true. */
import { useEffect, useRef } from "preact/hooks";
import { type PitchTrace, trace } from "../state/pitchTrace";
import { bent } from "./geometry";

interface Props {
  departureCents: number;
  toleranceCents: number;
  /** What the two lines are called at the left: the notes. */
  names?: { departure: string; arrival: string };
  /** A finished trace to show instead of the live one. */
  still?: { times: number[]; cents: number[] };
}

const SHOWN_S = 5;

export function PitchCanvas({ departureCents, toleranceCents, names, still }: Props) {
  const canvas = useRef<HTMLCanvasElement>(null);
  useEffect(() => {
    const element = canvas.current;
    const pen = element?.getContext("2d");
    if (!element || !pen) return;
    let frame = 0;
    const draw = () => {
      fitCanvas(element, pen);
      paint(pen, element, { departureCents, toleranceCents, ...(names ? { names } : {}), ...(still ? { still } : {}) });
      if (!still) frame = requestAnimationFrame(draw);
    };
    draw();
    return () => cancelAnimationFrame(frame);
  }, [departureCents, toleranceCents, names?.departure, names?.arrival, still]);
  return <canvas ref={canvas} class="pitch" role="img" aria-label="Pitch of the last seconds against the arrival" />;
}

function fitCanvas(element: HTMLCanvasElement, pen: CanvasRenderingContext2D): void {
  const ratio = window.devicePixelRatio || 1;
  const width = Math.round(element.clientWidth * ratio);
  const height = Math.round(element.clientHeight * ratio);
  if (element.width !== width || element.height !== height) {
    element.width = width;
    element.height = height;
  }
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
}

function paint(pen: CanvasRenderingContext2D, element: HTMLCanvasElement, props: Props): void {
  const width = element.clientWidth;
  const height = element.clientHeight;
  const style = getComputedStyle(element);
  const ink = style.getPropertyValue("--ink");
  const soft = style.getPropertyValue("--soft");
  const accent = style.getPropertyValue("--accent");
  const reach = bent(Math.max(150, Math.abs(props.departureCents) + 80));
  const y = (cents: number) => height / 2 - (bent(cents) / reach) * (height / 2 - 6);
  pen.clearRect(0, 0, width, height);
  const names = props.names ?? { departure: "departure", arrival: "arrival" };
  const letters = props.still ? 15 : Number.parseFloat(style.fontSize);
  pen.font = `${letters}px ${style.fontFamily}`;
  const gutter = Math.max(pen.measureText(names.departure).width, pen.measureText(names.arrival).width) + 14;
  pen.fillStyle = soft;
  pen.textBaseline = "middle";
  const apart = Math.abs(y(0) - y(props.departureCents)) > letters;
  if (apart) pen.fillText(names.departure, 2, inside(y(props.departureCents), letters, height));
  pen.fillText(names.arrival, 2, inside(y(0), letters, height));
  pen.lineWidth = 1;
  pen.strokeStyle = soft;
  for (const cents of [props.toleranceCents, -props.toleranceCents]) {
    pen.setLineDash([3, 5]);
    line(pen, gutter, y(cents), width, y(cents));
  }
  pen.setLineDash([10, 6]);
  line(pen, gutter, y(props.departureCents), width, y(props.departureCents));
  pen.setLineDash([]);
  pen.strokeStyle = accent;
  pen.lineWidth = 2;
  line(pen, gutter, y(0), width, y(0));
  pen.strokeStyle = ink;
  pen.lineWidth = 3;
  pen.lineJoin = "round";
  pen.save();
  pen.beginPath();
  pen.rect(gutter, 0, width - gutter, height);
  pen.clip();
  if (props.still) strokeStill(pen, props.still, gutter, width, y);
  else strokeLive(pen, trace, width, y);
  pen.restore();
}

/** The middle of a line of letters, kept whole on the canvas. */
function inside(y: number, letters: number, height: number): number {
  return Math.max(0.55 * letters, Math.min(height - 0.5 * letters, y));
}

function strokeLive(
  pen: CanvasRenderingContext2D,
  live: PitchTrace,
  width: number,
  y: (cents: number) => number,
): void {
  const behind = Math.min(1, (performance.now() - live.latestAt) / 1000);
  const now = live.latest + behind;
  const x = (time: number) => width - ((now - time) / SHOWN_S) * width;
  let before = Number.NaN;
  pen.beginPath();
  for (const [time, cents] of live.points()) {
    if (now - time > SHOWN_S || Number.isNaN(cents)) {
      before = Number.NaN;
      continue;
    }
    if (time - before < 0.08) pen.lineTo(x(time), y(cents));
    else pen.moveTo(x(time), y(cents));
    before = time;
  }
  pen.stroke();
}

function strokeStill(
  pen: CanvasRenderingContext2D,
  still: { times: number[]; cents: number[] },
  left: number,
  width: number,
  y: (cents: number) => number,
): void {
  const first = still.times[0] ?? 0;
  const length = Math.max(0.1, (still.times.at(-1) ?? 1) - first);
  let before = Number.NaN;
  pen.beginPath();
  still.times.forEach((time, i) => {
    const x = left + ((time - first) / length) * (width - left);
    const height = y(still.cents[i] ?? 0);
    if (time - before < 0.08) pen.lineTo(x, height);
    else pen.moveTo(x, height);
    before = time;
  });
  pen.stroke();
}

function line(pen: CanvasRenderingContext2D, x1: number, y1: number, x2: number, y2: number): void {
  pen.beginPath();
  pen.moveTo(x1, y1);
  pen.lineTo(x2, y2);
  pen.stroke();
}
