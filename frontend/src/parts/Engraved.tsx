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
}

export function Engraved({ svg, label, class: name, onNote, marks }: Props) {
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
  const touched = onNote
    ? (event: Event) => {
        const group = (event.target as Element).closest("g.note, g.chord, [data-note]");
        const id = group?.getAttribute("data-note") ?? group?.id;
        if (id) onNote(id);
      }
    : undefined;
  return <div ref={host} class={`engraved ${name ?? ""}`} role="img" aria-label={label} onPointerUp={touched} />;
}
