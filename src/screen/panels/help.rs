//! The help: keys from their table, what the figures mean, cautions. Turned
//! over page by page, so that it is whole on every size.

use super::pages::{self, Row, rows};
use crate::screen::keys::BINDINGS;
use crate::screen::pen::Pen;
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

fn all(state: &ScreenState) -> Vec<Row> {
    let keys = BINDINGS.iter().filter(|it| !it.long.is_empty());
    let keys = keys.filter(|it| it.belongs(state.kind));
    let mut all: Vec<Row> = keys
        .flat_map(|it| rows(it.shown, it.long, false, state))
        .collect();
    let clock = clock_sentence(state.look, &state.conditions.clock);
    for meaning in MEANINGS.iter().copied().chain([clock.as_str()]) {
        all.push(Row::default());
        all.extend(rows("", meaning, false, state));
    }
    all
}

/// How many pages the help has on this terminal.
pub(in crate::screen) fn pages(state: &ScreenState) -> usize {
    pages::pages(&all(state), state).len()
}

pub(in crate::screen) fn draw(state: &ScreenState, page: usize, pen: &mut Pen) {
    pages::draw(state, &all(state), page, "tapewright help", "?", pen);
}
