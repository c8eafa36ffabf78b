"""A plot in a PDF: its lines stay lines and its words stay words, in the document's own fonts."""

from typing import Any

import numpy as np
from matplotlib.backend_bases import FigureCanvasBase, GraphicsContextBase, RendererBase
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.transforms import Transform
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from sequencer.export.drawn import WIDTH_IN, Plot, drawing, figure
from sequencer.export.pdf_fonts import BOLD, REGULAR, runs, width

_POINTS = 72.0  # an inch
_JOINS = {"miter": 0, "round": 1, "bevel": 2}
_CAPS = {"butt": 0, "round": 1, "projecting": 2}


def draw(plot: Plot, canvas: Canvas) -> None:
    """Draw the plot with its lower left corner at the origin of the canvas, in points."""
    with drawing():
        drawn = figure(plot)
        renderer = _Renderer(canvas, WIDTH_IN * _POINTS, plot.height_in * _POINTS)
        _Canvas(drawn, renderer)
        drawn.draw(renderer)


class _Canvas(FigureCanvasBase):
    """Gives matplotlib's layout the measures of the words as they are written here."""

    def __init__(self, drawn: Any, renderer: "_Renderer") -> None:
        super().__init__(drawn)
        self._renderer = renderer

    def get_renderer(self) -> "_Renderer":
        return self._renderer


class _Renderer(RendererBase):
    """What matplotlib draws with. Source: PDF 1.7 (ISO 32000-1), 8.4 and 8.5, for caps, joins and paths."""

    def __init__(self, canvas: Canvas, width_pt: float, height_pt: float) -> None:
        super().__init__()
        self._canvas, self._size = canvas, (width_pt, height_pt)

    def get_canvas_width_height(self) -> tuple[float, float]:
        return self._size

    def flipy(self) -> bool:
        return False

    def draw_path(
        self,
        gc: GraphicsContextBase,
        path: Path,
        transform: Transform,
        rgbFace: Any = None,  # noqa: N803  # matplotlib's own name
    ) -> None:
        stroke = gc.get_linewidth() > 0 and (len(gc.get_rgb()) < 4 or gc.get_rgb()[3] > 0)
        filled = rgbFace is not None and (len(rgbFace) < 4 or rgbFace[3] > 0)
        if not (stroke or filled):
            return
        self._canvas.saveState()
        self._clip(gc)
        if stroke:
            self._pen(gc)
        if filled and rgbFace is not None:
            self._canvas.setFillColorRGB(*rgbFace[:3])
        shape = self._path(path.cleaned(transform, curves=True, simplify=path.should_simplify))
        self._canvas.drawPath(shape, stroke=int(stroke), fill=int(filled))
        self._canvas.restoreState()

    def draw_text(
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: FontProperties,
        angle: float,
        ismath: Any = False,
        mtext: Any = None,
    ) -> None:
        size = prop.get_size_in_points()
        self._canvas.saveState()
        self._canvas.translate(x, y)
        self._canvas.rotate(angle)
        self._canvas.setFillColorRGB(*gc.get_rgb()[:3])
        at = 0.0
        for font, part in runs(s, _font(prop)):
            self._canvas.setFont(font, size)
            self._canvas.drawString(at, 0, part)
            at += pdfmetrics.stringWidth(part, font, size)
        self._canvas.restoreState()

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> tuple[float, float, float]:
        size = prop.get_size_in_points()
        ascent, descent = pdfmetrics.getAscentDescent(_font(prop), size) if s else (0.0, 0.0)
        return width(s, size, _font(prop)), ascent - descent, -descent

    def _pen(self, gc: GraphicsContextBase) -> None:
        canvas = self._canvas
        canvas.setStrokeColorRGB(*gc.get_rgb()[:3])
        canvas.setLineWidth(gc.get_linewidth())
        canvas.setLineJoin(_JOINS[str(gc.get_joinstyle())])
        canvas.setLineCap(_CAPS[str(gc.get_capstyle())])
        offset, dashes = gc.get_dashes()
        canvas.setDash([] if dashes is None else np.asarray(dashes, dtype=np.float64).tolist(), offset or 0)

    def _clip(self, gc: GraphicsContextBase) -> None:
        box = gc.get_clip_rectangle()
        if box is not None:
            shape = self._canvas.beginPath()
            shape.rect(box.x0, box.y0, box.width, box.height)
            self._canvas.clipPath(shape, stroke=0, fill=0)
        path: Any  # matplotlib's types take it for another kind of path
        path, transform = gc.get_clip_path()
        if path is not None:
            self._canvas.clipPath(self._path(path.cleaned(transform, curves=True)), stroke=0, fill=0)

    def _path(self, path: Path) -> Any:
        """Return the path in the canvas's terms; its vertices are in points already."""
        shape = self._canvas.beginPath()
        here = (0.0, 0.0)
        for points, code in path.iter_segments(simplify=False):
            end = (float(points[-2]), float(points[-1]))
            if code == Path.MOVETO:
                shape.moveTo(*end)
            elif code == Path.LINETO:
                shape.lineTo(*end)
            elif code == Path.CURVE3:
                first = [a + 2 / 3 * (b - a) for a, b in zip(here, points[:2], strict=True)]
                second = [a + 2 / 3 * (b - a) for a, b in zip(end, points[:2], strict=True)]
                shape.curveTo(*first, *second, *end)
            elif code == Path.CURVE4:
                shape.curveTo(*(float(value) for value in points))
            elif code == Path.CLOSEPOLY:
                shape.close()
            here = end
        return shape


def _font(prop: FontProperties) -> str:
    return BOLD if prop.get_weight() in ("bold", "heavy", "black", 700, 800, 900) else REGULAR
