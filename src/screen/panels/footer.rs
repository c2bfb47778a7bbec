//! The last row: keys, as many as fit, made from their table; while a line is
//! typed, what ends that.

use crate::screen::keys::BINDINGS;
use crate::screen::pen::{Pen, width};
use crate::screen::state::ScreenState;
use crate::screen::state::overlay::Overlay;

/// All other keys are letters of the line.
const ENTRY: [(&str, &str); 3] = [
    ("Enter", "keeps"),
    ("Esc", "forgets"),
    ("Ctrl-U", "clears the line"),
];

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let shown: Vec<(&str, &str)> = match state.overlay {
        Some(Overlay::Entry(_)) => ENTRY.to_vec(),
        _ => BINDINGS
            .iter()
            .filter(|it| !it.short.is_empty() && it.applies(state))
            .map(|it| (it.shown, it.short_now(state)))
            .collect(),
    };
    let mut x = 0;
    for (key, does) in shown {
        let needed = width(key) + 1 + width(does);
        if x + needed > pen.width() {
            break;
        }
        let next = pen.text(x, 0, key, look.strong());
        x = pen.text(next + 1, 0, does, look.faint()) + 2;
    }
}
