//! All about the present step, over the whole screen: what to do, why, what is
//! seen now, cautions. Turned over page by page where the screen is small.

use std::fmt::Write as _;

use ratatui_core::style::Style;

use crate::screen::pen::{Pen, wrap};
use crate::screen::state::routine::Step;
use crate::screen::state::{ScreenState, SourceKind};

/// Rows of a page that are not text: the head and the foot.
const FRAME: u16 = 2;

/// Lines with whether they stand out.
fn all(state: &ScreenState) -> Vec<(String, bool)> {
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
    let mut lines: Vec<(String, bool)> = wrap(&now, state.size.0)
        .into_iter()
        .map(|line| (line, true))
        .collect();
    for (head, text) in parts {
        lines.push((String::new(), false));
        let text = format!("{head}{text}");
        lines.extend(wrap(&text, state.size.0).into_iter().map(|it| (it, false)));
    }
    lines
}

fn page_rows(state: &ScreenState) -> usize {
    usize::from(state.size.1.saturating_sub(FRAME).max(1))
}

/// How many pages the card has on this terminal.
pub(in crate::screen) fn pages(state: &ScreenState) -> usize {
    all(state).len().div_ceil(page_rows(state))
}

/// Draws a page of it.
pub(in crate::screen) fn draw(state: &ScreenState, page: usize, pen: &mut Pen) {
    let look = state.look;
    let pages = pages(state);
    let page = page.min(pages - 1);
    let at = state.routine.at();
    let mut head = format!("step {} of {}: {}", at.number(), Step::ALL.len(), at.name());
    if pages > 1 {
        let _ = write!(head, ", page {} of {pages}", page + 1);
    }
    pen.text(0, 0, &head, look.strong());
    let lines = all(state);
    let here = lines.iter().skip(page * page_rows(state));
    for (y, (line, strong)) in (1u16..).zip(here.take(page_rows(state))) {
        let style = if *strong { look.strong() } else { Style::new() };
        pen.text(0, y, line, style);
    }
    let last = pen.height().saturating_sub(1);
    let next = if page + 1 < pages {
        "s or Space next page   Esc back"
    } else {
        "s, Space or Esc back"
    };
    pen.text(0, last, next, look.faint());
}
