"""Photographs of printed dots among clutter, drawn from a description alone.

Everything is painted as reflectance on a grid `FINE` times finer than the picture, lit, blurred,
integrated over square pixels, given shot and read noise, gamma 1/2.2 and 8 bits. Pixel centres are
at integers. It shares no code with the tool. Sizes, blur and clutter follow common practice, no
source.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

FINE = 3
MARK_MM = 6.0
ROUGH_MM = 0.006


@dataclass
class Scene:
    """A picture and its truth; `covered` is the hidden share of each
    dot's edge."""

    image: np.ndarray
    xy: np.ndarray
    radius: np.ndarray
    covered: np.ndarray
    diameter_px: float
    noise_over_contrast: float
    blur_px: float
    cut: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))

    def bound_px(self):
        """Cramer-Rao bound of one axis of each uncovered dot's centre, all else known [px]."""
        return self.noise_over_contrast * np.sqrt(
            2.0 * self.blur_px / (np.sqrt(np.pi) * self.radius)
        )


@dataclass
class Paper:
    """The fine canvas; coordinates are those of the picture."""

    canvas: np.ndarray

    def paint(self, middle, reach, distance, value):
        """Paint where `distance(x, y)` is negative; edges are antialiased on the fine grid."""
        x0, y0 = (max(int((m - reach + 0.5) * FINE), 0) for m in middle)
        x1, y1 = (int((m + reach + 0.5) * FINE) + 1 for m in middle)
        part = self.canvas[y0:y1, x0:x1]
        if part.size:
            y, x = np.mgrid[y0 : y0 + part.shape[0], x0 : x0 + part.shape[1]]
            d = distance((x + 0.5) / FINE - 0.5 - middle[0], (y + 0.5) / FINE - 0.5 - middle[1])
            alpha = np.clip(0.5 - d * FINE, 0.0, 1.0)
            part += alpha.astype(np.float32) * (np.float32(value) - part)


def ragged_disc(rng, radius, rough_px):
    """Distance function of a disc whose edge wanders by harmonics 2 to 24."""
    order = np.arange(2, 25)
    a, b = rng.normal(size=(2, len(order))) * rough_px / np.sqrt(len(order))

    def distance(x, y):
        phi = np.arctan2(y, x)
        edge = np.full_like(phi, radius)
        for k, ak, bk in zip(order, a, b, strict=True):
            edge += ak * np.cos(k * phi) + bk * np.sin(k * phi)
        return np.hypot(x, y) - edge

    return distance


def rounded_box(half, corner, turn, ratio=1.0):
    c, s = np.cos(turn), np.sin(turn)

    def distance(x, y):
        u, v = np.abs(c * x + s * y) - half + corner, np.abs(c * y - s * x) - half * ratio + corner
        out = np.hypot(np.maximum(u, 0.0), np.maximum(v, 0.0))
        return out + np.minimum(np.maximum(u, v), 0.0) - corner

    return distance


def ring(radius, width):
    return lambda x, y: np.abs(np.hypot(x, y) - radius + width / 2) - width / 2


def ellipse(a, b, turn):
    c, s = np.cos(turn), np.sin(turn)
    return lambda x, y: (np.hypot((c * x + s * y) / a, (c * y - s * x) / b) - 1.0) * min(a, b)


def band(turn, low, high):
    """A straight strip between two parallel lines."""
    c, s = np.cos(turn), np.sin(turn)
    return lambda x, y: np.maximum(low - (c * x + s * y), (c * x + s * y) - high)


def spread(rng, count, size, margin, apart, others=()):
    """Random places in the picture, each `apart` from the others; fewer where there is no room."""
    placed = [np.asarray(p) for p in others]
    new = []
    for _ in range(200 * count):
        if len(new) == count:
            break
        p = np.array([rng.uniform(margin, n - 1 - margin) for n in size])
        if all(np.hypot(*(p - q)) > apart for q in placed):
            placed.append(p)
            new.append(p)
    return np.array(new).reshape(-1, 2)


def draw_scene(
    seed, *, size=(1600, 1200), dots=8, clutter=True, light=True, share_covered=0.25,
    cut_dots=0, scale=None, blur=None, defocus=None, white=False, full_well=None,
    rough_mm=ROUGH_MM,
):  # fmt: skip
    """Return a random Scene of the hard kind, or an easy one without clutter and light."""
    rng = np.random.default_rng(seed)
    scale = rng.uniform(8.0, 15.0) if scale is None else scale
    nominal = MARK_MM * scale / 2.0
    ink, page = rng.uniform(0.03, 0.08), rng.uniform(0.6, 0.9)
    if white:
        ink, page = page, ink
    paper = Paper(np.full((size[1] * FINE, size[0] * FINE), page, np.float32))
    quiet = rng.uniform(0.8, 2.0) * scale if clutter else nominal
    present = rng.random(dots) > (0.3 if clutter else 0.0)
    present[0] = True
    places = spread(rng, dots, size, nominal * 1.15 + 8.0, 2.4 * nominal + quiet)
    places = places[present[: len(places)]]
    radius = nominal * rng.uniform(0.97, 1.03, len(places))
    cut = _cut_places(rng, cut_dots, size, nominal, places)
    if clutter:
        _texture(rng, paper, size, np.vstack((places, cut)), nominal + quiet, (ink, page))
        _shapes(rng, paper, size, np.vstack((places, cut)), nominal, (ink, page))
    for p, r in zip(places, radius, strict=True):
        paper.paint(p, 1.1 * r, ragged_disc(rng, r, rough_mm * scale), ink)
    for p in cut:
        paper.paint(p, 1.1 * nominal, ragged_disc(rng, nominal, rough_mm * scale), ink)
    covered = np.zeros(len(places))
    for k in np.flatnonzero(rng.random(len(places)) < share_covered):
        covered[k] = _cover(rng, paper, places[k], radius[k], page)
    blur = rng.uniform(0.7, 2.2) if blur is None else blur
    defocus = rng.uniform(0.0, 2.0) if defocus is None else defocus
    shown, noise = _expose(rng, paper.canvas, size, blur, defocus, light, full_well)
    return Scene(
        image=shown, xy=places, radius=radius, covered=covered, diameter_px=2.0 * nominal,
        noise_over_contrast=noise(ink, page), cut=cut,
        blur_px=float(np.sqrt(blur**2 + defocus**2 / 4.0 + 1.0 / 12.0)),
    )  # fmt: skip


def _cut_places(rng, count, size, radius, others):
    """Places of dots that lie across the frame."""
    found = []
    for k in range(count):
        along = rng.uniform(0.2, 0.8)
        off = rng.uniform(-0.2, 0.85) * radius
        p = ((off, along * size[1]), (along * size[0], size[1] - 1 - off))[k % 2]
        if all(np.hypot(*(np.array(p) - q)) > 3.5 * radius for q in others):
            found.append(p)
    return np.array(found).reshape(-1, 2)


def _texture(rng, paper, size, places, keep_off, tones):
    """Printed art in some boxes, never nearer to a dot's middle than `keep_off`."""
    for _ in range(6):
        w, h = rng.uniform(0.15, 0.45, 2) * size
        cx, cy = rng.uniform(0, size[0]), rng.uniform(0, size[1])
        x0, y0 = max(int((cx - w / 2) * FINE), 0), max(int((cy - h / 2) * FINE), 0)
        part = paper.canvas[y0 : int((cy + h / 2) * FINE), x0 : int((cx + w / 2) * FINE)]
        y, x = (np.arange(n, dtype=np.float32) for n in part.shape)
        x, y = (x[None] + x0 + 0.5) / FINE - 0.5, (y[:, None] + y0 + 0.5) / FINE - 0.5
        free = np.ones(part.shape, bool)
        for p in places:
            free &= (x - p[0]) ** 2 + (y - p[1]) ** 2 > keep_off**2
        pitch, turn = rng.uniform(6.0, 40.0), rng.uniform(0, np.pi)
        ink = _pattern(rng, x * 2 * np.pi / pitch, y * 2 * np.pi / pitch, turn)
        low, high = np.sort(rng.uniform(*sorted(tones), 2)).astype(np.float32)
        part[free] = np.where(ink, low, high)[free]


def _pattern(rng, x, y, turn):
    """A halftone, stripes or blobs."""
    c, s = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    u, v = c * x + s * y, c * y - s * x
    kind = rng.integers(3)
    if kind == 0:
        return np.cos(u) + np.cos(v) > rng.uniform(-1, 1)
    if kind == 1:
        return np.cos(u) > rng.uniform(-0.7, 0.7)
    return np.cos(u) * np.cos(0.7 * v + 1) + 0.5 * np.cos(0.31 * u + 0.4 * v) > 0.1


def _shapes(rng, paper, size, places, radius, tones):
    """Glyphs, rings, boxes, ellipses, discs of wrong size and specks."""
    ink, page = tones
    apart = 2.6 * radius
    spots = spread(rng, 26, size, 0, apart, places)
    for p in spots[10:]:
        r, turn = radius * rng.uniform(0.9, 1.1), rng.uniform(0, np.pi)
        wrong = radius * rng.choice([rng.uniform(0.45, 0.85), rng.uniform(1.18, 1.35)])
        shape = [
            ring(r, r * rng.uniform(0.15, 0.7)),
            rounded_box(r * 0.95, r * rng.uniform(0.1, 0.6), turn),
            ellipse(r * 1.1, r * rng.uniform(0.55, 0.85), turn),
            ragged_disc(rng, wrong, 0.0),
            rounded_box(r, 0.1 * r, turn, rng.uniform(0.4, 0.8)),
        ][rng.integers(5)]
        paper.paint(p, 1.5 * radius, rounded_box(1.28 * radius, 2.0, 0.0), page)
        paper.paint(p, 1.5 * radius, shape, ink)
    for p in spots[:10]:
        _glyph(rng, paper, p, radius, tones)
    for p in spread(rng, 150, size, 0, 1.0):
        near = np.hypot(*(places - p).T).min(initial=np.inf)
        if near > 0.3 * radius:
            paper.paint(p, 8, ragged_disc(rng, rng.uniform(0.5, 2.5), 0.0), rng.uniform(0.05, 0.9))


def _glyph(rng, paper, place, radius, tones):
    ink, page = tones
    text = rng.choice(list("O08@QCGDB6"))
    reach = 1.3 * radius
    side = int(2 * reach * FINE)
    mask = np.zeros((side, side), np.uint8)
    height = 2 * radius * FINE * rng.uniform(0.9, 1.1)
    thick = int(radius * FINE * rng.uniform(0.2, 0.6))
    face = [cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX][rng.integers(2)]
    (w, h), _ = cv2.getTextSize(text, face, 1.0, 1)
    zoom = (height - thick) / h
    at = (int(side / 2 - w * zoom / 2), int(side / 2 + h * zoom / 2))
    cv2.putText(mask, text, at, face, zoom, 255, max(thick, 1), cv2.LINE_AA)
    x, y = (int((c - reach + 0.5) * FINE) for c in place)
    high, wide = paper.canvas.shape
    if x >= 0 and y >= 0 and x + side <= wide and y + side <= high:
        alpha = mask.astype(np.float32) / 255
        part = paper.canvas[y : y + side, x : x + side]
        part[:] = page + alpha * np.float32(ink - page)


def _cover(rng, paper, place, radius, page):
    """Lay a strip over 10 to 35 % of a dot's edge, and at most 35 % of its area; return the share.

    It comes from one side or lies across.
    """
    low, high, area, share = 0.0, 0.0, 1.0, 0.0
    while area > 0.35:
        turn, share = rng.uniform(0, 2 * np.pi), rng.uniform(0.10, 0.35)
        first = 0.0 if rng.random() < 0.5 else rng.uniform(0.0, 1.0 - share)
        from_, to = np.pi * first, np.pi * (first + share)
        low, high = np.cos(to), np.cos(from_)
        area = share - (np.sin(2 * to) - np.sin(2 * from_)) / (2 * np.pi)
    value = rng.choice([rng.uniform(0.3, 0.9), 0.9 * page, rng.uniform(0.05, 0.3)])
    high = 1.6 if first == 0.0 else high
    paper.paint(place, 2.0 * radius, band(turn, low * radius, high * radius), value)
    return share


def _expose(rng, canvas, size, blur, defocus, light, full_well):
    """Light, blur, pixels, noise, gamma, 8 bits; also a function giving noise over contrast."""
    lit = canvas.copy()
    if light:
        lit *= _light(rng, size)
    if defocus > 0.05:
        reach = int(np.ceil(defocus * FINE)) + 1
        j, i = np.mgrid[-reach : reach + 1, -reach : reach + 1]
        disc = np.clip(defocus * FINE - np.hypot(i, j) + 0.5, 0, 1).astype(np.float32)
        lit = cv2.filter2D(lit, -1, disc / disc.sum(), borderType=cv2.BORDER_REPLICATE)
    lit = cv2.GaussianBlur(lit, (0, 0), blur * FINE, borderType=cv2.BORDER_REPLICATE)
    linear = cv2.resize(lit, size, interpolation=cv2.INTER_AREA)
    well = rng.uniform(8e3, 2e4) if full_well is None else full_well
    read = 8.0 / well

    def sigma(level):
        return np.sqrt(np.maximum(level, 0) / well + read**2)

    noisy = np.maximum(linear + rng.normal(size=linear.shape) * sigma(linear), 0)
    shown = np.clip(np.round(255 * noisy ** (1 / 2.2)), 0, 255).astype(np.uint8)

    def noise_over_contrast(ink, page):
        seen = 255 * np.array((ink, page)) ** (1 / 2.2)
        sd = np.hypot(255 / 2.2 * np.array((ink, page)) ** (1 / 2.2 - 1)
                      * sigma(np.array((ink, page))), 12**-0.5)  # fmt: skip
        return float(np.sqrt((sd**2).mean()) / abs(seen[1] - seen[0]))

    return shown, noise_over_contrast


def _light(rng, size):
    """A slope of up to 50 %, a vignette and a hot spot; smooth, so drawn coarsely."""
    y, x = np.mgrid[0:120, 0:160].astype(np.float32)
    x, y = x / 159 - 0.5, y / 119 - 0.5
    turn, slope = rng.uniform(0, 2 * np.pi), rng.uniform(0, 0.5)
    shade = 1.0 - slope / 2 + slope * (np.cos(turn) * x + np.sin(turn) * y)
    shade *= 1.0 - rng.uniform(0, 0.3) * (x * x + y * y) * 2
    hot = rng.uniform(-0.4, 0.4, 2)
    shade += rng.uniform(0, 0.15) * np.exp(-((x - hot[0]) ** 2 + (y - hot[1]) ** 2) / 0.05)
    fine = (size[0] * FINE, size[1] * FINE)
    return cv2.resize(shade.astype(np.float32), fine, interpolation=cv2.INTER_CUBIC)
