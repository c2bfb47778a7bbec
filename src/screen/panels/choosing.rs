//! The list of references over the whole screen.

use std::fmt::Write as _;

use crate::report::numbers::plain;
use crate::screen::pen::Pen;
use crate::screen::state::ScreenState;

/// Rows above the list.
const HEAD: u16 = 2;

pub(in crate::screen) fn draw(state: &ScreenState, at: usize, pen: &mut Pen) {
    let look = state.look;
    let last = pen.height().saturating_sub(1);
    let room = usize::from(last.saturating_sub(HEAD).max(1));
    // The mark stays in sight however long the list is.
    let from = (at + 1).saturating_sub(room);
    let offers = state.offers();
    let mut title = "what does the tape carry?".to_owned();
    if offers.len() > room {
        let until = (from + room).min(offers.len());
        let _ = write!(title, "  {} to {until} of {}", from + 1, offers.len());
    }
    pen.text(0, 0, &title, look.strong());
    let shown = offers.iter().enumerate().skip(from).take(room);
    for (y, (number, offer)) in (HEAD..).zip(shown) {
        let (mark, style) = if number == at {
            (">", look.badge())
        } else {
            (" ", look.strong())
        };
        let line = format!("{mark} {}", plain(&offer.words()));
        let line: String = line.chars().take(usize::from(pen.width())).collect();
        pen.text(0, y, &line, style);
    }
    pen.text(0, last, "up, down, Enter takes it, Esc back", look.faint());
}
