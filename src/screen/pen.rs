//! Writing into a part of the screen: coordinates count from its corner, and
//! nothing is ever written outside, however small it is.

use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;
use ratatui_core::style::Style;
use ratatui_core::text::Span;

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
        let (end, _) = self
            .buffer
            .set_stringn(self.area.x + x, self.area.y + y, text, room, style);
        end - self.area.x
    }

    /// Writes at the right edge.
    pub(super) fn right(&mut self, y: u16, text: &str, style: Style) {
        let x = self.area.width.saturating_sub(width(text));
        self.text(x, y, text, style);
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
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && width(&line) + 1 + width(word) > room {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// As many of the parts of a sentence, with semicolons between them, as fit; the
/// first in any case, though without what stands in brackets.
pub(super) fn parts_that_fit(sentence: &str, room: u16) -> String {
    let mut parts = sentence.split("; ");
    let mut text = parts.next().unwrap_or_default().to_owned();
    if width(&text) > room
        && let Some((before, _)) = text.split_once(" (")
    {
        text = before.to_owned();
    }
    for part in parts {
        if width(&text) + 2 + width(part) > room {
            break;
        }
        text = format!("{text}; {part}");
    }
    text
}

/// A name from outside (a device, a file, a tape) without anything that could
/// steer the terminal.
pub(super) fn harmless(name: &str) -> String {
    name.chars()
        .map(|letter| if letter.is_control() { ' ' } else { letter })
        .collect()
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
    fn names_cannot_steer_the_terminal() {
        assert_eq!(harmless("deck\u{1b}[2J\n"), "deck [2J ");
    }
}
