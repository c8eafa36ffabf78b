"""A document as one HTML page that needs nothing beside it: read on a screen, by ear, or printed without colour."""

from html import escape

from sequencer.export.drawn import Plot, svg
from sequencer.export.letters import shown
from sequencer.export.paper import Blanks, Block, Boxed, Facts, Heading, Items, Paper, Table, Words

STYLE = """
@page { size: A4; margin: 15mm; }
body { font: 10pt/1.4 "DejaVu Sans", Arial, Helvetica, sans-serif; color: #000; background: #fff;
  max-width: 180mm; margin: 10mm auto; padding: 0 4mm; }
h1 { font-size: 17pt; font-weight: normal; margin: 0 0 3mm; }
h2 { font-size: 11pt; margin: 7mm 0 2mm; border-bottom: 0.3mm solid #000; break-after: avoid; }
h3 { font-size: 10pt; margin: 4mm 0 1mm; break-after: avoid; }
p { margin: 1.5mm 0; }
dl { display: grid; grid-template-columns: 32mm 1fr; gap: 0.5mm 3mm; margin: 0; }
dt { color: #444; }
dd { margin: 0; }
.verdict { border: 0.5mm solid #000; padding: 2mm 3mm; margin: 5mm 0; break-inside: avoid; }
.verdict strong { display: block; font-size: 14pt; }
.match { border-width: 1.2mm; } .differ { border-width: 1.2mm; border-style: double; } .open { border-style: dashed; }
table { border-collapse: collapse; width: 100%; margin: 2mm 0 3mm; font-size: 8.5pt;
  font-variant-numeric: tabular-nums; }
th { font-weight: normal; color: #444; text-align: right; vertical-align: bottom; border-bottom: 0.2mm solid #000; }
td { text-align: right; border-bottom: 0.1mm solid #bbb; }
th, td { padding: 0.8mm 1.2mm; }
.left { text-align: left; }
tr, figure { break-inside: avoid; }
figure { margin: 2mm 0; }
svg { width: 100%; height: auto; }
.caution { border: 0.2mm solid #000; padding: 2mm 3mm; font-size: 8.5pt; margin-top: 6mm; break-inside: avoid; }
caption { text-align: left; color: #444; padding: 0 0 1mm; }
table, figure, dd, li, p { overflow-wrap: anywhere; }
thead { display: table-header-group; }
.blanks dt { color: #000; padding-top: 3mm; } .blanks dd { border-bottom: 0.2mm solid #000; min-height: 7mm; }
.blanks { grid-template-columns: 70mm 1fr; }
.scaled svg { width: 7.1in; max-width: none; }
.small { font-size: 8.5pt; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
"""


def page(paper: Paper) -> str:
    """Return the document as an HTML page.

    Source: HTML (WHATWG living standard) and SVG 1.1; nothing is loaded from anywhere, and nothing runs.
    """
    title = _text(paper.title)
    body = "\n".join(_block(block) for block in paper.blocks)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title}</title>\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n<main>\n<h1>{title}</h1>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _text(text: str) -> str:
    return escape(shown(text)).replace("\n", "<br>")


def _block(block: Block) -> str:
    match block:
        case Heading():
            return f"<h{block.level}>{_text(block.text)}</h{block.level}>"
        case Words():
            kind = ' class="small"' if block.small else ""
            return f"<p{kind}>{_text(block.text)}</p>"
        case Items():
            return "<ul>" + "".join(f"<li>{_text(text)}</li>" for text in block.texts) + "</ul>"
        case Facts():
            return (
                "<dl>" + "".join(f"<dt>{_text(name)}</dt><dd>{_text(text)}</dd>" for name, text in block.rows) + "</dl>"
            )
        case Table():
            return _table(block)
        case Boxed():
            texts = "".join(f"<p>{_text(text)}</p>" for text in block.texts)
            title = f"<strong>{_text(block.title)}</strong>" if block.title else ""
            kind = "caution" if block.frame == "caution" else f"verdict {block.frame}"
            return f'<div class="{kind}">{title}{texts}</div>'
        case Blanks():
            lines = "".join(f"<dt>{_text(label)}</dt><dd></dd>" for label in block.labels)
            return f'<dl class="blanks">{lines}</dl>'
        case Plot():
            kind = ' class="scaled"' if block.to_scale else ""
            return f"<figure{kind}>{svg(block)}</figure>"


def _table(table: Table) -> str:
    marks = [' class="left"' if place < table.left else "" for place in range(len(table.heads))]
    heads = "".join(f'<th scope="col"{mark}>{_text(cell)}</th>' for mark, cell in zip(marks, table.heads, strict=True))
    rows = "\n".join(
        "<tr>" + "".join(f"<td{mark}>{_text(cell)}</td>" for mark, cell in zip(marks, row, strict=True)) + "</tr>"
        for row in table.rows
    )
    return (
        f"<table>\n<caption>{_text(table.title)}</caption>\n<thead><tr>{heads}</tr></thead>\n"
        f"<tbody>\n{rows}\n</tbody>\n</table>"
    )
