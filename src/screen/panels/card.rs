//! All about the present step, over the whole screen: what to do, why, what is
//! seen now, cautions. Turned over page by page where the screen is small.

use super::pages::{self, Row, rows};
use crate::screen::pen::Pen;
use crate::screen::state::routine::Step;
use crate::screen::state::{ScreenState, SourceKind};

fn all(state: &ScreenState) -> Vec<Row> {
    let card = state.routine.card();
    let mut parts = vec![
        ("What to do. ", card.what),
        ("Why. ", card.why),
        ("Careful. ", card.caution),
    ];
    if state.kind == SourceKind::Rehearsal {
        parts.push(("In this rehearsal. ", card.rehearsal));
    }
    let now = format!("Now: {}.", state.seen_now());
    let mut all = rows("", &now, true, state);
    for (head, text) in parts {
        all.push(Row::default());
        all.extend(rows("", &format!("{head}{text}"), false, state));
    }
    all
}

/// How many pages the card has on this terminal.
pub(in crate::screen) fn pages(state: &ScreenState) -> usize {
    pages::pages(&all(state), state).len()
}

/// Draws a page of it.
pub(in crate::screen) fn draw(state: &ScreenState, page: usize, pen: &mut Pen) {
    let at = state.routine.at();
    let head = format!("step {} of {}: {}", at.number(), Step::ALL.len(), at.name());
    pages::draw(state, &all(state), page, &head, "s", pen);
}
