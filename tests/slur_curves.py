"""The outlines of engraved slurs."""

from __future__ import annotations

import re

import numpy as np

SLUR_PATH = re.compile(r'class="slur">\s*<path[^>]* d="M([^"]+)"')


def slur_curves(path: str) -> tuple[np.ndarray, np.ndarray]:
    """Points of the two cubic Bézier curves that bound a slur: outer and inner."""
    points = np.array([float(number) for number in re.findall(r"-?[\d.]+", path)]).reshape(-1, 2)
    t = np.linspace(0.0, 1.0, 200)[:, None]
    a, b, c, d = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3)
    first, second = (a * p[0] + b * p[1] + c * p[2] + d * p[3] for p in (points[:4], points[3:7]))
    return first, second
