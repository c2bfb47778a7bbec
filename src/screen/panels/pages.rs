//! Text over the whole screen, turned over page by page where that is small.

use ratatui_core::style::Style;

use crate::screen::pen::{Pen, wrap};
use crate::screen::state::ScreenState;

/// Rows of a page that are not text: the head and the foot.
const FRAME: u16 = 2;

/// Columns for the keys at the left.
const KEY_COLUMNS: usize = 8;

/// What stands at the left, the text, and whether that stands out.
pub(super) type Row = (&'static str, String, bool);

/// The rows of a text, beside the key that it is about, if that is one.
pub(super) fn rows(
    key: &'static str,
    text: &str,
    is_strong: bool,
    state: &ScreenState,
) -> Vec<Row> {
    let indent = if key.is_empty() { 0 } else { KEY_COLUMNS };
    let lines = wrap(text, state.size.0.saturating_sub(indent as u16));
    let keys = std::iter::once(key).chain(std::iter::repeat(""));
    let row = |(key, line)| (key, format!("{:indent$}{line}", ""), is_strong);
    keys.zip(lines).map(row).collect()
}

/// The rows of each page.
pub(super) fn pages<'a>(rows: &'a [Row], state: &ScreenState) -> Vec<&'a [Row]> {
    let room = usize::from(state.size.1.saturating_sub(FRAME).max(1));
    rows.chunks(room).collect()
}

/// Draws a page under a head; `key` is the one that opened it.
pub(super) fn draw(
    state: &ScreenState,
    rows: &[Row],
    page: usize,
    head: &str,
    key: &str,
    pen: &mut Pen,
) {
    let look = state.look;
    let pages = pages(rows, state);
    let page = page.min(pages.len() - 1);
    let of = match pages.len() {
        1 => String::new(),
        count => format!(", page {} of {count}", page + 1),
    };
    pen.text(0, 0, &format!("{head}{of}"), look.strong());
    for (y, (key, text, is_strong)) in (1u16..).zip(pages[page]) {
        let style = if *is_strong {
            look.strong()
        } else {
            Style::new()
        };
        pen.text(0, y, text, style);
        pen.text(0, y, key, look.strong());
    }
    let foot = if page + 1 < pages.len() {
        format!("{key} or Space next page   Esc back")
    } else {
        format!("{key}, Space or Esc back")
    };
    pen.text(0, pen.height().saturating_sub(1), &foot, look.faint());
}
