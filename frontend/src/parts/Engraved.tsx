/** Engraved music or a drawing of the server's, as part of the page. */
import { useEffect, useRef } from "preact/hooks";

interface Props {
  svg: string;
  label: string;
  class?: string;
  /** Called with the id of the note that was touched. */
  onNote?: (id: string) => void;
  /** Marks per note id: classes that are put on the note's group. */
  marks?: Record<string, string>;
  /** A verdict per note id, drawn below the note in the same shapes as on the string. */
  signs?: Record<string, string>;
}

const SIGNS: Record<string, string> = {
  true: "M-1 0A1 1 0 1 0 1 0A1 1 0 1 0 -1 0Z",
  high: "M-0.8 -1L1 0L-0.8 1Z",
  low: "M0.8 -1L-1 0L0.8 1Z",
  corrected: "M-0.9 0A0.9 0.9 0 1 0 0.9 0A0.9 0.9 0 1 0 -0.9 0Z",
  "wrong note": "M-1 -1L1 1M-1 1L1 -1",
  early: "M0 -1V1M-0.7 -1H0.7M-0.7 1H0.7",
  late: "M0 -1V1M-0.7 -1H0.7M-0.7 1H0.7",
  unjudged: "M-1 -1H1V1H-1Z",
};
const HOLLOW = ["corrected", "wrong note", "early", "late", "unjudged"];

/** The lowest line of the staff that a note stands in. */
function staffBottom(note: SVGGraphicsElement): number {
  const lines = note.closest("g.staff")?.querySelectorAll<SVGGraphicsElement>(":scope > path") ?? [];
  return Math.max(Number.NEGATIVE_INFINITY, ...[...lines].map((line) => line.getBBox().y));
}

/** Puts the verdict's shape below a note and its staff, clear of the fingers; gives it back for taking it away. */
function sign(note: SVGGraphicsElement, verdict: string): Element {
  const box = note.getBBox();
  const shape = document.createElementNS("http://www.w3.org/2000/svg", "path");
  const head = Math.max(60, Math.min(box.height, box.width) / 2);
  const below = Math.max(box.y + box.height, staffBottom(note));
  shape.setAttribute("d", SIGNS[verdict] ?? SIGNS.unjudged ?? "");
  shape.setAttribute("transform", `translate(${box.x + box.width / 2} ${below + 1.8 * head}) scale(${head})`);
  shape.setAttribute("stroke-width", "0.35");
  shape.setAttribute("class", HOLLOW.includes(verdict) ? "sign hollow" : "sign");
  note.parentNode?.appendChild(shape);
  return shape;
}

export function Engraved({ svg, label, class: name, onNote, marks, signs }: Props) {
  const host = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const parsed = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
    const drawing = document.importNode(parsed, true);
    drawing.setAttribute("aria-hidden", "true");
    host.current?.replaceChildren(drawing);
  }, [svg]);
  useEffect(() => {
    const root = host.current;
    if (!root || !marks) return;
    const marked: [Element, string][] = [];
    for (const [id, kind] of Object.entries(marks)) {
      const group =
        root.querySelector(`[id="${CSS.escape(id)}"]`) ?? root.querySelector(`[data-id="${CSS.escape(id)}"]`);
      if (group) {
        group.classList.add(...kind.split(" "));
        marked.push([group, kind]);
      }
    }
    return () => {
      for (const [group, kind] of marked) group.classList.remove(...kind.split(" "));
    };
  }, [svg, marks]);
  useEffect(() => {
    const root = host.current;
    if (!root || !signs) return;
    const drawn: Element[] = [];
    for (const [id, verdict] of Object.entries(signs)) {
      const note = root.querySelector(`[id="${CSS.escape(id)}"]`);
      if (note instanceof SVGGraphicsElement) drawn.push(sign(note, verdict));
    }
    return () => {
      for (const shape of drawn) shape.remove();
    };
  }, [svg, signs]);
  const touched = onNote
    ? (event: Event) => {
        const group = (event.target as Element).closest("g.note, g.chord, [data-note]");
        const id = group?.getAttribute("data-note") ?? group?.id;
        if (id) onNote(id);
      }
    : undefined;
  return <div ref={host} class={`engraved ${name ?? ""}`} role="img" aria-label={label} onPointerUp={touched} />;
}
