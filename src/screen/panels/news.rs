//! What is being typed, kept or has just happened; what was kept before and
//! after.

use crate::screen::choosing::hint;
use crate::screen::pen::{Pen, harmless, wrap};
use crate::screen::state::{EntryFor, ScreenState, Slot};

/// Lines, the most urgent first, each with whether it stands out.
fn all(state: &ScreenState) -> Vec<(String, bool)> {
    let mut news = Vec::new();
    if let Some(entry) = &state.entry {
        let what = match entry.purpose {
            EntryFor::Snapshot => "name of the snapshot",
            EntryFor::Machine => "machine on the bench",
            EntryFor::RecordedOn => "machine that the tape was recorded on",
            EntryFor::Note => "note",
            EntryFor::Supply => "supply voltage of the machine",
            EntryFor::Tolerance => "half width of the tolerance band in percent",
            EntryFor::Reference(kind) => hint(kind),
        };
        news.push((
            format!("{what}: {}_  (Enter keeps, Esc forgets)", entry.text),
            true,
        ));
    }
    news.extend(state.message.iter().map(|text| (harmless(text), true)));
    news.extend(keeping(state).map(|text| (text, true)));
    news.extend(state.ident_words().map(|text| (text, false)));
    news.extend(comparison(state).map(|text| (text, false)));
    news
}

/// Rows needed to show everything.
pub(in crate::screen) fn rows(state: &ScreenState, width: u16) -> u16 {
    let rows = |(text, _): &(String, bool)| wrap(text, width).len() as u16;
    all(state).iter().map(rows).sum()
}

/// Rows that must not be left out: the most urgent line.
pub(in crate::screen) fn urgent_rows(state: &ScreenState, width: u16) -> u16 {
    let first = all(state).into_iter().find(|(_, urgent)| *urgent);
    first.map_or(0, |(text, _)| wrap(&text, width).len() as u16)
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let mut y = 0;
    for (text, urgent) in all(state) {
        let style = if urgent { look.strong() } else { look.faint() };
        for line in wrap(&text, pen.width()) {
            pen.text(0, y, &line, style);
            y += 1;
        }
    }
}

fn keeping(state: &ScreenState) -> Option<String> {
    let name = state.keeping.as_ref()?.name();
    let progress = state.progress_of_keeping();
    if let Some(long_run) = &state.long_run {
        let count = long_run.stretches();
        return Some(format!(
            "long run: {count} measured, {progress}; y ends it, Esc forgets it"
        ));
    }
    Some(format!("keeping {name}: {progress}, Esc stops"))
}

/// Before and after side by side.
fn comparison(state: &ScreenState) -> Option<String> {
    let before = state
        .newest_kept(&Slot::Before)
        .map(|kept| state.figure_of(kept));
    let after = state
        .newest_kept(&Slot::After)
        .map(|kept| state.figure_of(kept));
    let arrow = state.look.arrow();
    let unsaved = match state.unsaved().count() {
        0 => String::new(),
        count => format!("  ({count} NOT SAVED, r tries again)"),
    };
    let named = state
        .kept
        .iter()
        .rev()
        .find(|kept| matches!(kept.slot, Slot::Named(_)))
        .map(|kept| format!("  {} {}", harmless(kept.slot.name()), state.figure_of(kept)))
        .unwrap_or_default();
    match (before, after) {
        (Some(before), Some(after)) => Some(format!(
            "before {before} {arrow} after {after}{named}{unsaved}"
        )),
        (Some(before), None) => Some(format!("before {before}{named}{unsaved}")),
        (None, Some(after)) => Some(format!("after {after}{named}{unsaved}")),
        (None, None) => (!named.is_empty()).then(|| format!("kept{named}{unsaved}")),
    }
}
