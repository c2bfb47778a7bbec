"""Draws a terminal screen as SVG: `tmux capture-pane -e -p` on standard input,
the picture on standard output.

Every cell has its place on a grid. Letters are text, a word at a time, each
word set to the width of its cells; blocks, lines and Braille dots are drawn as
shapes, so that they meet whatever font the reader has.
"""

import re
import sys
from html import escape
from typing import NamedTuple

COLUMNS, ROWS = 80, 24
CELL_W, CELL_H = 9.0, 19.0
FONT_SIZE = 15.0
BASELINE = 14.0
MARGIN = 14.0

PAPER = "#14171a"
INK = "#d9dde0"
# Dim text stays above 4.5 : 1 against the paper.
FAINT = "#929a9f"
# The colours of ANSI by number, in shades that stand on this paper.
COLOURS = {
    0: "#3a4045", 1: "#e06c6c", 2: "#7cc48a", 3: "#e5c15a",
    4: "#6ea8e0", 5: "#c78ad6", 6: "#5cc8d0", 7: "#d9dde0",
}


class Style(NamedTuple):
    bold: bool = False
    dim: bool = False
    reverse: bool = False
    ink: int | None = None
    paper: int | None = None


class Cell(NamedTuple):
    symbol: str
    style: Style


def after_codes(style, codes):
    """The style after one SGR sequence."""
    numbers = [int(code) if code else 0 for code in codes.split(";")]
    while numbers:
        code = numbers.pop(0)
        if code == 0:
            style = Style()
        elif code == 1:
            style = style._replace(bold=True)
        elif code == 2:
            style = style._replace(dim=True)
        elif code == 22:
            style = style._replace(bold=False, dim=False)
        elif code == 7:
            style = style._replace(reverse=True)
        elif code == 27:
            style = style._replace(reverse=False)
        elif code in (38, 48):
            kind, colour = numbers.pop(0), numbers.pop(0)
            if kind != 5 or colour % 8 not in COLOURS or colour > 15:
                sys.exit(f"picture: a colour that has no shade here: {code};{kind};{colour}")
            name = "ink" if code == 38 else "paper"
            style = style._replace(**{name: colour % 8})
        elif 30 <= code <= 37:
            style = style._replace(ink=code - 30)
        elif 90 <= code <= 97:
            style = style._replace(ink=code - 90)
        elif code == 39:
            style = style._replace(ink=None)
        elif 40 <= code <= 47:
            style = style._replace(paper=code - 40)
        elif code == 49:
            style = style._replace(paper=None)
        else:
            sys.exit(f"picture: an attribute that is not known here: {code}")
    return style


def cells(text):
    """Rows of cells. The style goes on over the ends of lines."""
    style, rows = Style(), []
    for line in text.split("\n")[:ROWS]:
        row, at = [], 0
        for found in re.finditer(r"\x1b\[([0-9;]*)m", line):
            row += [Cell(symbol, style) for symbol in line[at:found.start()]]
            style = after_codes(style, found[1])
            at = found.end()
        row += [Cell(symbol, style) for symbol in line[at:]]
        if any(ord(cell.symbol) < 32 for cell in row):
            sys.exit("picture: a control sequence that is not known here")
        rows.append(row[:COLUMNS])
    return rows


def colours(style):
    """Ink and paper as they are drawn; paper None is the ground."""
    ink = INK if style.ink is None else COLOURS[style.ink]
    paper = None if style.paper is None else COLOURS[style.paper]
    if style.dim and not style.bold and style.ink is None:
        ink = FAINT
    return (paper or PAPER, ink) if style.reverse else (ink, paper)


def number(value):
    return f"{value:.2f}".rstrip("0").rstrip(".")


def rectangle(x, y, width, height, colour):
    return (f'<rect x="{number(x)}" y="{number(y)}" width="{number(width)}"'
            f' height="{number(height)}" fill="{colour}"/>')


def braille(symbol, x, y, colour):
    """Dots as Unicode numbers them: 1-3 and 7 at the left, 4-6 and 8 right."""
    places = ((0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (0, 3), (1, 3))
    bits = ord(symbol) - 0x2800
    return "".join(
        f'<circle cx="{number(x + CELL_W * (0.25 + 0.5 * column))}"'
        f' cy="{number(y + CELL_H * (0.125 + 0.25 * row))}" r="1.5" fill="{colour}"/>'
        for bit, (column, row) in enumerate(places) if bits >> bit & 1)


# Shapes as parts of a cell: left, top, width, height.
THIN_W, THIN_H = 1.4 / CELL_W, 1.4 / CELL_H
ACROSS = (0, 0.5 - THIN_H / 2, 1, THIN_H)
DOWN = (0.5 - THIN_W / 2, 0, THIN_W, 1)
BLOCKS = {
    "█": [(0, 0, 1, 1)],
    "▌": [(0, 0, 0.5, 1)],
    "▐": [(0.5, 0, 0.5, 1)],
    "▀": [(0, 0, 1, 0.5)],
    "▄": [(0, 0.5, 1, 0.5)],
    "─": [ACROSS],
    "│": [DOWN],
    "┼": [ACROSS, DOWN],
    "═": [(0, 0.42 - THIN_H / 2, 1, THIN_H), (0, 0.58 - THIN_H / 2, 1, THIN_H)],
}
TRIANGLES = {
    "▲": ((0.5, 0.15), (1, 0.8), (0, 0.8)),
    "▼": ((0.5, 0.85), (1, 0.2), (0, 0.2)),
    "◀": ((0, 0.5), (1, 0.2), (1, 0.8)),
    "▶": ((1, 0.5), (0, 0.2), (0, 0.8)),
}


def shape(symbol, x, y, colour, run=1):
    """A symbol drawn; None where it is a letter."""
    if symbol in BLOCKS:
        return "".join(
            rectangle(x + left * CELL_W, y + top * CELL_H, width * CELL_W * run if width == 1
                      else width * CELL_W, height * CELL_H, colour)
            for left, top, width, height in BLOCKS[symbol])
    if symbol in TRIANGLES:
        points = " ".join(f"{number(x + a * CELL_W)},{number(y + b * CELL_H)}"
                          for a, b in TRIANGLES[symbol])
        return f'<polygon points="{points}" fill="{colour}"/>'
    if symbol == "·":
        return (f'<circle cx="{number(x + CELL_W / 2)}" cy="{number(y + CELL_H / 2)}"'
                f' r="1.2" fill="{colour}"/>')
    if 0x2800 <= ord(symbol) <= 0x28FF:
        return braille(symbol, x, y, colour)
    return None


def runs(row):
    """(column, text, style): neighbours of one style that are drawn together,
    which are letters up to a space, or the same block again and again."""
    at = 0
    while at < len(row):
        symbol, style = row[at]
        end = at + 1
        if shape(symbol, 0, 0, "") is not None:
            if symbol in "█─═":
                while end < len(row) and row[end] == row[at]:
                    end += 1
        elif symbol != " ":
            while end < len(row) and row[end].style == style and row[end].symbol != " " \
                    and shape(row[end].symbol, 0, 0, "") is None:
                end += 1
        yield at, "".join(cell.symbol for cell in row[at:end]), style
        at = end


def drawing(rows):
    width, height = COLUMNS * CELL_W + 2 * MARGIN, ROWS * CELL_H + 2 * MARGIN
    yield (f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(width)}"'
           f' height="{number(height)}" viewBox="0 0 {number(width)} {number(height)}"'
           f' font-family="\'DejaVu Sans Mono\', Menlo, Consolas, monospace"'
           f' font-size="{number(FONT_SIZE)}" shape-rendering="crispEdges" role="img">')
    yield "<title>tapewright at work on a simulated machine</title>"
    yield f'<rect width="100%" height="100%" rx="6" fill="{PAPER}"/>'
    for line, row in enumerate(rows):
        y = MARGIN + line * CELL_H
        for column, text, style in runs(row):
            x = MARGIN + column * CELL_W
            ink, paper = colours(style)
            if paper is not None:
                yield rectangle(x, y, len(text) * CELL_W, CELL_H, paper)
            if text == " ":
                continue
            drawn = shape(text[0], x, y, ink, len(text))
            if drawn is not None:
                yield drawn
                continue
            weight = ' font-weight="bold"' if style.bold else ""
            yield (f'<text x="{number(x)}" y="{number(y + BASELINE)}" fill="{ink}"{weight}'
                   f' textLength="{number(len(text) * CELL_W)}"'
                   f' lengthAdjust="spacingAndGlyphs">{escape(text)}</text>')
    yield "</svg>"


def main():
    sys.stdin.reconfigure(encoding="utf-8")
    sys.stdout.reconfigure(encoding="utf-8")
    rows = cells(sys.stdin.read())
    if len(rows) != ROWS or not any(rows):
        sys.exit(f"picture: expected a screen of {ROWS} rows, found {len(rows)}")
    print("\n".join(drawing(rows)))


main()
