import { useEffect, useRef, useState } from "preact/hooks";

/** The size of an element in CSS pixels, kept up to date. */
export function useSize<T extends Element>() {
  const ref = useRef<T>(null);
  const [size, setSize] = useState({ width: 0, height: 0 });
  useEffect(() => {
    const element = ref.current;
    if (!element) return;
    const observer = new ResizeObserver(([entry]) => {
      if (entry) setSize({ width: entry.contentRect.width, height: entry.contentRect.height });
    });
    observer.observe(element);
    return () => observer.disconnect();
  }, []);
  return { ref, ...size };
}

/** Makes the letters of a line smaller until it fits its box; the style's own size is the largest. */
export function fitText(element: HTMLElement): void {
  element.style.fontSize = "";
  const over = element.scrollWidth / element.clientWidth;
  if (over <= 1 || element.clientWidth === 0) return;
  const size = Number.parseFloat(getComputedStyle(element).fontSize);
  element.style.fontSize = `${Math.floor(size / over)}px`;
}
