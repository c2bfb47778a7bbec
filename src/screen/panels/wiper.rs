//! The check of the trimmer's wiper: what to do, and the speed against the
//! travel.

use crate::screen::pen::{Pen, wrap};
use crate::screen::state::ScreenState;

const HOW: &str = "Let the tape play. Leave the trimmer alone for three seconds, then turn it \
    slowly to one end of its usable range, to the other, and back; twice is surer than once.";

/// Draws the whole view.
pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    pen.text(0, 0, "wiper check", look.strong());
    for (y, line) in (1u16..).zip(wrap(HOW, pen.width())) {
        pen.text(0, y, &line, look.faint());
    }
}
