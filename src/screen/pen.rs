//! Writing into a part of the screen: coordinates count from its corner, and
//! nothing is ever written outside, however small it is.

use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;
use ratatui_core::style::Style;
use ratatui_core::text::Span;

use crate::report::{lines_of, numbers::shown};

/// A pen that stays within its area.
pub(super) struct Pen<'a> {
    buffer: &'a mut Buffer,
    area: Rect,
}

impl<'a> Pen<'a> {
    /// A pen for what of `area` lies on the buffer.
    pub(super) fn new(buffer: &'a mut Buffer, area: Rect) -> Self {
        let area = area.intersection(buffer.area);
        Self { buffer, area }
    }

    /// Cells across.
    pub(super) fn width(&self) -> u16 {
        self.area.width
    }

    /// Rows.
    pub(super) fn height(&self) -> u16 {
        self.area.height
    }

    /// Writes what fits and returns the column after it.
    pub(super) fn text(&mut self, x: u16, y: u16, text: &str, style: Style) -> u16 {
        if x >= self.area.width || y >= self.area.height {
            return x;
        }
        let room = usize::from(self.area.width - x);
        let (end, _) =
            self.buffer
                .set_stringn(self.area.x + x, self.area.y + y, shown(text), room, style);
        end - self.area.x
    }

    /// Writes at the right edge.
    pub(super) fn right(&mut self, y: u16, text: &str, style: Style) {
        let x = self.area.width.saturating_sub(width(text));
        self.text(x, y, text, style);
    }

    /// Writes whole texts below each other, each broken into lines.
    pub(super) fn texts(&mut self, mut y: u16, texts: &[String], style: Style) {
        for text in texts {
            for line in wrap(text, self.area.width) {
                self.text(0, y, &line, style);
                y += 1;
            }
        }
    }

    /// Writes centred on a column, moved inwards at the edges.
    pub(super) fn centred(&mut self, x: u16, y: u16, text: &str, style: Style) {
        let length = width(text);
        let last = self.area.width.saturating_sub(length);
        self.text(x.saturating_sub(length / 2).min(last), y, text, style);
    }
}

/// Cells that a text takes.
pub(super) fn width(text: &str) -> u16 {
    u16::try_from(Span::raw(text).width()).unwrap_or(u16::MAX)
}

/// Breaks a text into lines of at most `room` cells, between words where it
/// can.
pub(super) fn wrap(text: &str, room: u16) -> Vec<String> {
    lines_of(text, usize::from(room), |text| usize::from(width(text)))
}

/// Rows that these texts take, each broken into lines.
pub(super) fn rows_of(texts: &[String], room: u16) -> u16 {
    let rows = texts.iter().map(|text| wrap(text, room).len());
    rows.sum::<usize>() as u16
}

/// As much of a text as `rows` lines hold, up to the end of a part: a sentence,
/// or what stands before a comma, a colon or a bracket. What has no part so
/// short is cut between words.
pub(super) fn fitting(text: &str, room: u16, rows: usize) -> Vec<String> {
    let mut lines = wrap(text, room);
    if lines.len() <= rows {
        return lines;
    }
    let ends = text.char_indices().rev().filter(|(at, letter)| {
        let next = text[at + letter.len_utf8()..].chars().next();
        next == Some(' ') && ".?;:,".contains(*letter) || *letter == ' ' && next == Some('(')
    });
    for (at, letter) in ends {
        let kept = if ".?".contains(letter) { at + 1 } else { at };
        let part = &text[..kept];
        let shorter = wrap(part, room);
        let is_bracket_open = part.matches('(').count() > part.matches(')').count();
        if shorter.len() <= rows && !is_bracket_open {
            return shorter;
        }
    }
    lines.truncate(rows);
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_written_outside() {
        let mut buffer = Buffer::empty(Rect::new(0, 0, 6, 2));
        let mut pen = Pen::new(&mut buffer, Rect::new(2, 1, 3, 9));
        assert_eq!(pen.text(1, 0, "abcdef", Style::new()), 3);
        pen.text(0, 1, "below", Style::new());
        pen.text(7, 0, "beside", Style::new());
        assert_eq!(buffer, Buffer::with_lines(["      ", "   ab "]));
        let mut nothing = Buffer::empty(Rect::new(0, 0, 0, 0));
        let mut pen = Pen::new(&mut nothing, Rect::new(0, 0, 10, 10));
        pen.right(0, "x", Style::new());
        pen.centred(0, 0, "x", Style::new());
    }

    #[test]
    fn long_sentences_are_broken_between_words() {
        assert_eq!(wrap("no signal comes in", 9), ["no signal", "comes in"]);
        assert_eq!(wrap("", 9), Vec::<String>::new());
    }

    #[test]
    fn a_text_that_is_cut_ends_with_a_part_of_it() {
        let text = "noise only 12 dB below: clean the heads, raise the level; or (at worst) wait";
        for (rows, shown) in [
            (1, "noise only 12 dB below"),
            (2, "noise only 12 dB below: clean the heads"),
            (4, text),
        ] {
            assert_eq!(fitting(text, 26, rows).join(" "), shown, "{rows}");
        }
        assert_eq!(fitting("no part so short", 8, 1), ["no part"]);
        assert_eq!(fitting("turn back (that: 1 %)", 17, 1), ["turn back"]);
    }
}
