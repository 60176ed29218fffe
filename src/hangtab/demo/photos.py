"""Drawn photos: a simple card or box with a figure, its sticker and its territory strip. Small PNGs, invented only."""

from __future__ import annotations

import io
import zlib
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from hangtab.demo.names import Cast
from hangtab.demo.pieces import Piece
from hangtab.demo.variants import Variant
from hangtab.domain.subject import Packaging

_SIZE = (300, 420)
_CARDS = {
    "tw-card-1": ((26, 74, 110), (236, 204, 120)), "tw-card-2": ((52, 58, 94), (214, 224, 232)),
    "tw-card-3": ((24, 104, 104), (240, 232, 208)), "tw-card-4": ((150, 60, 44), (246, 222, 170)),
    "lc-box-1": ((140, 36, 48), (244, 226, 190)), "lc-box-2": ((48, 40, 92), (238, 204, 90)),
    "sk-card-1": ((196, 120, 132), (252, 236, 214)), "sk-card-2": ((70, 140, 196), (250, 250, 236)),
    "sk-card-3": ((92, 64, 120), (244, 188, 142)), "": ((120, 112, 100), (226, 220, 208)),
}  # fmt: skip
_STRIPS = {"territory-b": 2, "territory-d": 3}
Colour = tuple[int, int, int]


def draw_photo(piece: Piece, variant: Variant, cast: Cast, path: Path) -> None:
    """Draw one piece on a table and save it; a condition shows as paler colours, a yellowed blister as a tint."""
    rng = np.random.default_rng(zlib.crc32(str(path.parent.name).encode()))
    table = tuple(int(c) for c in rng.integers(168, 206) + rng.integers(-9, 10, 3))
    image = Image.new("RGB", _SIZE, (table[0], table[1], table[2]))
    pen = ImageDraw.Draw(image)
    shift = int(rng.integers(-8, 9))
    if variant.packaging in (Packaging.CARDED, Packaging.BOXED):
        _card(pen, piece, variant, shift)
        pen.text((56 + shift, 140), cast.names.name, fill=(250, 248, 240))
    _figure(pen, variant, shift, vehicle=cast.kind != "character")
    if piece.grading is not None:
        pen.rectangle((18, 12, 282, 408), outline=(245, 245, 250), width=6)
        pen.rectangle((40, 18, 260, 52), fill=(250, 250, 245), outline=(90, 90, 90))
        pen.text((52, 28), f"{piece.grading.grader}  {piece.grading.grade}  {piece.certificate}", fill=(30, 30, 30))
    image = image.rotate(float(rng.normal(0, 1.2)), fillcolor=(table[0], table[1], table[2]))
    packed = io.BytesIO()
    if path.suffix == ".jpg":
        image.save(packed, "JPEG", quality=72)
    else:
        image.quantize(64, Image.Quantize.FASTOCTREE).save(packed, "PNG", optimize=True)
    path.write_bytes(packed.getvalue())


def _card(pen: ImageDraw.ImageDraw, piece: Piece, variant: Variant, shift: int) -> None:
    ground, ink = _CARDS.get(variant.card, _CARDS[""])
    pale = max(0.0, 70.0 - piece.condition) / 160
    ground = _mix(ground, (255, 255, 255), pale)
    box = (44 + shift, 58, 256 + shift, 396)
    pen.rounded_rectangle(box, 8, fill=ground)
    if variant.packaging is Packaging.CARDED:
        pen.rectangle((132 + shift, 66, 168 + shift, 76), fill=(235, 235, 235))
    pen.rectangle((56 + shift, 84, 244 + shift, 132), fill=ink)
    pen.text((66 + shift, 100), variant.line.replace("-", " ").upper(), fill=ground)
    blister: Colour = (214, 226, 230)
    if "yellowing" in piece.flaws or (piece.grading and piece.grading.qualifiers):
        blister = (222, 206, 142)
    pen.rounded_rectangle((92 + shift, 166, 208 + shift, 348), 18, fill=blister, outline=(250, 250, 250), width=3)
    claimed = variant.features
    if "glow-sticker" in claimed:
        pen.ellipse((196 + shift, 300, 250 + shift, 354), fill=(186, 244, 120), outline=(60, 110, 40), width=3)
        pen.text((208 + shift, 320), "GLOW", fill=(40, 80, 30))
    for territory, count in _STRIPS.items():
        if territory in claimed:
            for k in range(count):
                pen.rectangle((56 + shift, 362 + 10 * k, 244 + shift, 368 + 10 * k), fill=ink)
    if "crease" in piece.flaws:
        pen.line((52 + shift, 150, 110 + shift, 120), fill=_mix(ground, (255, 255, 255), 0.6), width=2)


def _figure(pen: ImageDraw.ImageDraw, variant: Variant, shift: int, *, vehicle: bool) -> None:
    seed = np.random.default_rng(zlib.crc32(f"{variant.character}{variant.figure}".encode()))
    coat: Colour = tuple(int(c) for c in seed.integers(40, 210, 3))  # type: ignore[assignment]
    legs: Colour = tuple(int(c) for c in seed.integers(30, 140, 3))  # type: ignore[assignment]
    x = 150 + shift
    if vehicle:
        pen.polygon(((x - 48, 268), (x + 48, 268), (x + 32, 318), (x - 38, 318)), fill=coat)
        pen.rectangle((x - 14, 232, x + 22, 268), fill=legs)
        pen.line((x - 26, 196, x - 26, 268), fill=(110, 82, 50), width=4)
        pen.polygon(((x - 22, 200), (x - 22, 250), (x + 6, 250)), fill=(238, 232, 214))
        return
    pen.ellipse((x - 17, 186, x + 17, 222), fill=(226, 188, 156))
    pen.polygon(((x - 28, 226), (x + 28, 226), (x + 22, 288), (x - 22, 288)), fill=coat)
    pen.rectangle((x - 20, 288, x - 3, 336), fill=legs)
    pen.rectangle((x + 3, 288, x + 20, 336), fill=legs)
    pen.line((x + 34, 214, x + 34, 332), fill=(110, 82, 50), width=4)
    if seed.random() < 0.5:
        pen.rectangle((x - 20, 180, x + 20, 192), fill=coat)


def _mix(a: Colour, b: Colour, share: float) -> Colour:
    return tuple(round(x + (y - x) * share) for x, y in zip(a, b, strict=True))  # type: ignore[return-value]
