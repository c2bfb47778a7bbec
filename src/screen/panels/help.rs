//! The help: keys from their table, what the figures mean, cautions. Turned
//! over page by page, so that it is whole on every size.

use ratatui_core::style::Style;

use crate::screen::keys::BINDINGS;
use crate::screen::pen::{Pen, wrap};
use crate::screen::state::ScreenState;
use crate::screen::words::clock_sentence;

const MEANINGS: &[&str] = &[
    "Figures. The digits are the mean over whole periods of the wow since the speed was last \
     moved; the needle is the last 150 ms. Positive is fast, negative slow.",
    "The number after the digits is their 95 % uncertainty. IN TOLERANCE is only said where the \
     whole of it lies inside the band, the tape's own error included. Where that is unknown, the \
     most that can be said is RIGHT BY THIS TAPE.",
    "Weighted flutter is the two-sigma figure (2-sigma), by the weighting curve of IEC 60386 (table from \
     memory); the quasi-peak figure stands beside it. Wow and flutter are rms in their bands.",
    "Cautions. Live mains parts can kill, also after the plug is pulled: work on the trimmer \
     through its opening, with an insulated tool, or leave it to somebody trained. Power off \
     before any cleaner; it is flammable, so ventilate and let it dry. Keep hair and sleeves off \
     belts and flywheels. Mark a trimmer's position before you turn it. Begin with headphones at \
     the lowest level.",
];

/// Rows of a page that are not text: the head and the foot.
const FRAME: u16 = 2;

/// Columns for the keys at the left.
const KEY_COLUMNS: u16 = 8;

enum Row {
    Key(&'static str, String),
    Text(String),
}

fn all(state: &ScreenState) -> Vec<Row> {
    let mut rows = Vec::new();
    let room = state.size.0.saturating_sub(KEY_COLUMNS);
    let keys = BINDINGS.iter().filter(|it| !it.long.is_empty());
    for binding in keys.filter(|it| it.belongs(state.kind)) {
        let mut shown = binding.shown;
        for line in wrap(binding.long, room) {
            rows.push(Row::Key(std::mem::take(&mut shown), line));
        }
    }
    let clock = clock_sentence(state.look, &state.conditions.clock);
    for meaning in MEANINGS.iter().copied().chain([clock.as_str()]) {
        rows.push(Row::Text(String::new()));
        rows.extend(wrap(meaning, state.size.0).into_iter().map(Row::Text));
    }
    rows
}

fn page_rows(state: &ScreenState) -> usize {
    usize::from(state.size.1.saturating_sub(FRAME).max(1))
}

/// How many pages the help has on this terminal.
pub(in crate::screen) fn pages(state: &ScreenState) -> usize {
    all(state).len().div_ceil(page_rows(state))
}

pub(in crate::screen) fn draw(state: &ScreenState, page: usize, pen: &mut Pen) {
    let look = state.look;
    let pages = pages(state);
    let page = page.min(pages - 1);
    let head = format!("tapewright help, page {} of {pages}", page + 1);
    pen.text(0, 0, &head, look.strong());
    let rows = all(state);
    let here = rows
        .iter()
        .skip(page * page_rows(state))
        .take(page_rows(state));
    for (y, row) in (1u16..).zip(here) {
        match row {
            Row::Key(shown, long) => {
                pen.text(0, y, shown, look.strong());
                pen.text(KEY_COLUMNS, y, long, Style::new());
            }
            Row::Text(text) => {
                pen.text(0, y, text, Style::new());
            }
        }
    }
    let last = pen.height().saturating_sub(1);
    let foot = if page + 1 < pages {
        "? or Space next page   Esc back"
    } else {
        "?, Space or Esc back"
    };
    pen.text(0, last, foot, look.faint());
}
