/**
 * Where the hand landed: a stretch of the string around the place, nut to the left. Shapes carry the meaning, not
 * colour: a disc is in place, an arrowhead points the way the landing was off, a ring with a tail was moved afterwards,
 * a cross is another note, a dashed square could not be judged.
 */
import type { PlaceView, ToldView } from "../state/shapes";
import { centsToMm, halfWindowMm, tickStepMm } from "./geometry";
import { useSize } from "./size";
import { landingLine, ROMAN, signed } from "./words";

export interface Landed {
  cents: number;
  mm: number | null;
  verdict: string | null;
  settled: number | null;
  /** The note, where there are two. */
  name?: string;
}

interface Props {
  place: PlaceView;
  earlier: ToldView[];
  /** One landing, or the lower and the upper note of a double stop, each against its own place. */
  now: Landed[];
  mirrored: boolean;
}

export function StringDrawing({ place, earlier, now, mirrored }: Props) {
  const { ref, width, height } = useSize<HTMLDivElement>();
  return (
    <div class="string-drawing" ref={ref}>
      {width > 0 && height > 0 && (
        <svg width={width} height={height} role="img" aria-label={spoken(place, now)}>
          <Drawing place={place} earlier={earlier} now={now} mirrored={mirrored} width={width} height={height} />
        </svg>
      )}
    </div>
  );
}

function spoken(place: PlaceView, now: Landed[]): string {
  const where = `String ${ROMAN[place.string]}, place of finger ${place.finger}.`;
  const told = (each: Landed) => (each.verdict === "unjudged" ? "not judged" : landingLine(each.cents, each.mm));
  const landings = now.map((each) => `Landing ${each.name ?? ""} ${told(each)}.`);
  return [where, ...landings].join(" ").replace(/ +/g, " ");
}

function Drawing({ place, earlier, now, mirrored, width, height }: Props & { width: number; height: number }) {
  const mm = (cents: number) => centsToMm(cents, place.place, place.length_mm);
  const tolerance = { low: mm(-place.tolerance_cents), high: mm(place.tolerance_cents) };
  const all = [...earlier.map((each) => each.mm ?? mm(each.cents ?? 0)), ...now.map((each) => mm(each.cents))];
  for (const each of now) if (each.settled !== null) all.push(mm(each.settled));
  const half = halfWindowMm(Math.max(tolerance.high, -tolerance.low), all);
  const margin = Math.max(26, width * 0.05);
  const middle = width / 2;
  const scale = ((width / 2 - margin) / half) * (mirrored ? -1 : 1);
  const x = (value: number) => middle + Math.max(-half, Math.min(half, value)) * scale;
  const line = height * 0.51;
  const big = Math.max(11, Math.min(24, height * 0.13));
  const ticks: number[] = [];
  const size = Math.min(height * 0.17, width < 600 ? 33 : 28);
  const step = tickStepMm(half, width < 600 ? 2 : 4);
  for (let at = -Math.floor(half / step) * step; at <= half; at += step) ticks.push(at);
  const bandLeft = Math.min(x(tolerance.low), x(tolerance.high));
  const bandWidth = Math.abs(x(tolerance.high) - x(tolerance.low));
  const bandHeight = height * 0.4;
  const bandTop = line - bandHeight / 2;
  return (
    <>
      <defs>
        <pattern id="true-band" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
          <rect width="2.2" height="7" class="band-hatch" />
        </pattern>
      </defs>
      <rect x={bandLeft} y={bandTop} width={bandWidth} height={bandHeight} fill="url(#true-band)" />
      <path
        class="band-edge"
        d={`M${bandLeft + 8} ${bandTop}H${bandLeft}V${bandTop + bandHeight}H${bandLeft + 8}M${bandLeft + bandWidth - 8} ${bandTop}H${bandLeft + bandWidth}V${bandTop + bandHeight}H${bandLeft + bandWidth - 8}`}
      />
      <line class={`string string-${place.string}`} x1={4} x2={width - 4} y1={line} y2={line} />
      <line class="place" x1={middle} x2={middle} y1={bandTop - 6} y2={bandTop + bandHeight + 6} />
      <text class="finger" x={middle} y={bandTop - 10} font-size={size * 1.2}>
        {place.finger}
      </text>
      {ticks.map((at) => (
        <g key={at}>
          <line class="tick" x1={x(at)} x2={x(at)} y1={height - size - 10} y2={height - size - 3} />
          <text class="tick-label" x={x(at)} y={height - 5} font-size={size}>
            {at === 0 ? "0 mm" : signed(at, 0)}
          </text>
        </g>
      ))}
      <text class="end end-left" x={6} y={size} font-size={size}>
        {mirrored ? "bridge" : "nut"}
      </text>
      <text class="end end-right" x={width - 6} y={size} font-size={size}>
        {mirrored ? "nut" : "bridge"}
      </text>
      <g class="earlier">
        {earlier.slice(-12).map((each, index) => {
          if (each.cents === null) return null;
          const back = Math.min(12, earlier.length) - index;
          const settled = each.settled_cents;
          return (
            <Mark
              key={index}
              verdict={each.verdict}
              x={x(mm(each.cents))}
              y={line + (back % 2 ? 1 : -1) * Math.min(bandHeight * 0.36, 10 + back * 3)}
              r={big * 0.55}
              tail={each.verdict === "corrected" && settled !== null ? x(mm(settled)) : null}
              flip={mirrored}
            />
          );
        })}
      </g>
      <g class="now">
        {now.map((each, index) => {
          const beside = now.length > 1;
          const y = line + (beside ? (index === 0 ? 1 : -1) * Math.min(big * 1.1, height * 0.13) : 0);
          const r = beside ? Math.min(big * 0.8, height * 0.11) : big;
          const at = x(mm(each.cents));
          return (
            <g key={each.name ?? index}>
              <Mark
                verdict={each.verdict}
                x={at}
                y={y}
                r={r}
                tail={each.verdict === "corrected" && each.settled !== null ? x(mm(each.settled)) : null}
                flip={mirrored}
                off={Math.abs(mm(each.cents)) > half}
              />
              {each.name && (
                <text
                  class={at > middle ? "note-name-right" : "note-name-left"}
                  x={at + (at > middle ? 1 : -1) * (r + 8)}
                  y={y + size * 0.35}
                  font-size={size}
                >
                  {each.name}
                </text>
              )}
            </g>
          );
        })}
      </g>
    </>
  );
}

interface MarkProps {
  verdict: string | null;
  x: number;
  y: number;
  r: number;
  tail: number | null;
  flip: boolean;
  off?: boolean;
}

function Mark({ verdict, x, y, r, tail, flip, off }: MarkProps) {
  const way = (verdict === "high" ? 1 : -1) * (flip ? -1 : 1);
  return (
    <g class={`mark ${verdict === null ? "open" : verdict.replace(" ", "-")}`}>
      {tail !== null && <Tail from={x} to={tail} y={y} r={r} />}
      {verdict === null && <path d={`M${x} ${y - r}L${x + r} ${y}L${x} ${y + r}L${x - r} ${y}Z`} />}
      {verdict === "true" && <circle cx={x} cy={y} r={r} />}
      {(verdict === "high" || verdict === "low") && (
        <path d={`M${x - way * r * 0.8} ${y - r}L${x + way * r} ${y}L${x - way * r * 0.8} ${y + r}Z`} />
      )}
      {verdict === "corrected" && <circle class="ring" cx={x} cy={y} r={r * 0.85} />}
      {verdict === "wrong note" && (
        <path class="stroke" d={`M${x - r} ${y - r}L${x + r} ${y + r}M${x - r} ${y + r}L${x + r} ${y - r}`} />
      )}
      {(verdict === "early" || verdict === "late") && (
        <path
          class="stroke"
          d={`M${x} ${y - r}V${y + r}M${x - r * 0.7} ${y - r}H${x + r * 0.7}M${x - r * 0.7} ${y + r}H${x + r * 0.7}`}
        />
      )}
      {verdict === "unjudged" && <rect class="dashed" x={x - r} y={y - r} width={2 * r} height={2 * r} />}
      {off && (
        <text class="off" x={x} y={y - r - 6}>
          {"\u2026"}
        </text>
      )}
    </g>
  );
}

function Tail({ from, to, y, r }: { from: number; to: number; y: number; r: number }) {
  const way = Math.sign(to - from) || 1;
  const start = from + way * r * 0.85;
  return (
    <path
      class="tail"
      d={`M${start} ${y}H${to}M${to - way * 7} ${y - 6}L${to} ${y}L${to - way * 7} ${y + 6}M${to} ${y - r}V${y + r}`}
    />
  );
}
