//! The last row: keys, as many as fit, made from their table.

use crate::screen::keys::BINDINGS;
use crate::screen::pen::{Pen, width};
use crate::screen::state::ScreenState;

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let mut x = 0;
    let shown = BINDINGS
        .iter()
        .filter(|it| !it.short.is_empty() && it.applies(state));
    for binding in shown {
        let short = binding.short_now(state);
        let needed = width(binding.shown) + 1 + width(short);
        if x + needed > pen.width() {
            break;
        }
        let next = pen.text(x, 0, binding.shown, look.strong());
        x = pen.text(next + 1, 0, short, look.faint()) + 2;
    }
}
