#!/usr/bin/env python3
"""Turn a terminal's screen into an SVG picture.

Reads what `tmux capture-pane -p -e -N` prints (text with SGR colour sequences) from standard input
and writes SVG to standard output. Braille dots, blocks and lines are drawn as shapes, so that the
picture looks the same whatever fonts the reader has. Needs nothing but Python 3.
"""

import re
import sys
import unicodedata
from xml.sax.saxutils import escape

CELL_W, CELL_H, MARGIN = 9.0, 19.0, 14.0
PAPER, INK = "#14171a", "#d8d8d8"
FONT = "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, 'Liberation Mono', monospace"
# The usual sixteen, for a session that runs without more.
NAMED = [
    "#1c1c1c", "#c0392b", "#009e73", "#e69f00", "#0072b2", "#cc79a7", "#56b4e9", "#d8d8d8",
    "#8a8a8a", "#d55e00", "#2fc79a", "#f0e442", "#56b4e9", "#cc79a7", "#8fd0f2", "#f2f2f2",
]


def indexed(n):
    """Colour n of the 256-colour table."""
    if n < 16:
        return NAMED[n]
    if n < 232:
        n -= 16
        levels = [0, 95, 135, 175, 215, 255]
        return "#%02x%02x%02x" % (levels[n // 36], levels[n // 6 % 6], levels[n % 6])
    grey = 8 + 10 * (n - 232)
    return "#%02x%02x%02x" % (grey, grey, grey)


class Style:
    def __init__(self):
        self.fg = self.bg = None
        self.bold = self.dim = self.reversed = self.underlined = False

    def apply(self, codes):
        codes = [int(c or 0) for c in codes.split(";")] if codes else [0]
        i = 0
        while i < len(codes):
            code = codes[i]
            if code == 0:
                self.__init__()
            elif code == 1:
                self.bold = True
            elif code == 2:
                self.dim = True
            elif code == 4:
                self.underlined = True
            elif code == 7:
                self.reversed = True
            elif code == 22:
                self.bold = self.dim = False
            elif code == 24:
                self.underlined = False
            elif code == 27:
                self.reversed = False
            elif code in (38, 48):
                which = "fg" if code == 38 else "bg"
                if codes[i + 1] == 2:
                    setattr(self, which, "#%02x%02x%02x" % tuple(codes[i + 2 : i + 5]))
                    i += 4
                else:
                    setattr(self, which, indexed(codes[i + 2]))
                    i += 2
            elif code in (39, 49):
                setattr(self, "fg" if code == 39 else "bg", None)
            elif 30 <= code <= 37 or 90 <= code <= 97:
                self.fg = NAMED[code - 30 if code < 90 else code - 82]
            elif 40 <= code <= 47 or 100 <= code <= 107:
                self.bg = NAMED[code - 40 if code < 100 else code - 92]
            i += 1

    def colours(self):
        fg, bg = self.fg or INK, self.bg or PAPER
        return (bg, fg) if self.reversed else (fg, bg)


def cells(line, style):
    """Each character of a line with its column, its colours and weight."""
    column = 0
    for part in re.split(r"(\x1b\[[0-9;]*m)", line):
        if part.startswith("\x1b["):
            style.apply(part[2:-1])
            continue
        for character in part:
            if character < " " or unicodedata.combining(character):
                continue
            fg, bg = style.colours()
            yield column, character, fg, bg, style.bold, style.dim
            column += 2 if unicodedata.east_asian_width(character) in "WF" else 1


def rect(x, y, w, h, colour, opacity=1.0):
    faint = "" if opacity == 1.0 else ' fill-opacity="%g"' % opacity
    return '<rect x="%g" y="%g" width="%g" height="%g" fill="%s"%s/>' % (
        round(x, 2), round(y, 2), round(w, 2), round(h, 2), colour, faint)


def braille(x, y, bits, colour):
    dots = []
    for bit, (dx, dy) in enumerate([(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (0, 3), (1, 3)]):
        if bits >> bit & 1:
            cx = x + CELL_W * (0.25 + 0.5 * dx)
            cy = y + CELL_H * (0.125 + 0.25 * dy)
            dots.append('<circle cx="%g" cy="%g" r="1.7"/>' % (round(cx, 2), round(cy, 2)))
    return '<g fill="%s">%s</g>' % (colour, "".join(dots))


# Lines of box drawing: arms left, right, up, down, and how thick.
BOX = {
    "─": "lr", "│": "ud", "┤": "lud", "├": "rud", "┬": "lrd", "┴": "lru", "┼": "lrud",
    "└": "ru", "┘": "lu", "┌": "rd", "┐": "ld",
}


def box(x, y, arms, colour, width=1.2):
    cx, cy = x + CELL_W / 2, y + CELL_H / 2
    ends = {"l": (x, cy), "r": (x + CELL_W, cy), "u": (cx, y), "d": (cx, y + CELL_H)}
    path = "".join("M%g %gL%g %g" % (cx, cy, *ends[arm]) for arm in arms)
    return '<path d="%s" stroke="%s" stroke-width="%g"/>' % (path, colour, width)


def shape(character, x, y, colour):
    """A character as a shape; None for those that a font draws."""
    code = ord(character)
    if 0x2800 <= code <= 0x28FF:
        return braille(x, y, code - 0x2800, colour)
    # Blocks overlap a hair, so that no seams show.
    if character == "▀":
        return rect(x, y, CELL_W + 0.2, CELL_H / 2 + 0.2, colour)
    if 0x2581 <= code <= 0x2588:
        height = CELL_H * (code - 0x2580) / 8
        return rect(x, y + CELL_H - height, CELL_W + 0.2, height + 0.2, colour)
    if 0x2589 <= code <= 0x258F:
        return rect(x, y, CELL_W * (0x2590 - code) / 8, CELL_H, colour)
    if character in "░▒▓":
        return rect(x, y + CELL_H * 0.1, CELL_W, CELL_H * 0.8, colour, 0.25 * ("░▒▓".index(character) + 1))
    if character in BOX:
        return box(x, y, BOX[character], colour)
    if character == "━":
        return box(x, y, "lr", colour, 3)
    if character == "┊":
        cx = x + CELL_W / 2
        return '<path d="M%g %gV%g" stroke="%s" stroke-width="1.4" stroke-dasharray="2.75 2"/>' % (
            cx, y, y + CELL_H, colour)
    return None


def picture(lines):
    style, shapes, texts, papers = Style(), [], [], []
    columns = 0
    for row, line in enumerate(lines):
        y = MARGIN + row * CELL_H
        run = None
        for column, character, fg, bg, bold, dim in cells(line, style):
            columns = max(columns, column + 1)
            x = MARGIN + column * CELL_W
            if bg != PAPER:
                if papers and papers[-1][:3] == [row, bg, column]:
                    papers[-1][2] += 1
                else:
                    papers.append([row, bg, column + 1, column])
            drawn = shape(character, x, y, fg)
            if drawn:
                shapes.append(drawn)
            if drawn or character == " ":
                run = None
                continue
            look = (fg, bold, dim)
            if run and run[0] == look and run[1] + len(run[2]) == column:
                run[2].append(character)
            else:
                run = (look, column, [character])
                texts.append((row, run))
    width, height = 2 * MARGIN + columns * CELL_W, 2 * MARGIN + len(lines) * CELL_H
    out = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" '
        'role="img" aria-label="Emberline\'s live screen">' % (width, height, width, height),
        '<rect width="100%%" height="100%%" rx="8" fill="%s"/>' % PAPER,
        *(rect(MARGIN + first * CELL_W, MARGIN + row * CELL_H, (end - first) * CELL_W, CELL_H + 0.2, bg)
          for row, bg, end, first in papers),
        '<g fill="none">',
        *shapes,
        "</g>",
        '<g font-family="%s" font-size="15" xml:space="preserve">' % FONT,
    ]
    for row, ((fg, bold, dim), column, characters) in texts:
        x, y = MARGIN + column * CELL_W, MARGIN + row * CELL_H + 14.2
        more = (' font-weight="bold"' if bold else "") + (' opacity="0.6"' if dim else "")
        # The length is given, so that columns line up in any font.
        out.append('<text x="%g" y="%g" textLength="%g" lengthAdjust="spacingAndGlyphs" fill="%s"%s>%s</text>' % (
            x, round(y, 2), len(characters) * CELL_W, fg, more, escape("".join(characters))))
    out += ["</g>", "</svg>"]
    return "\n".join(out) + "\n"


if __name__ == "__main__":
    captured = sys.stdin.read().split("\n")
    while captured and not captured[-1].strip():
        captured.pop()
    sys.stdout.write(picture(captured))
