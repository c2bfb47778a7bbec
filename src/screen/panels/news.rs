//! What is being typed, kept or has just happened; what was kept before and
//! after.

use crate::screen::pen::{Pen, harmless, width, wrap};
use crate::screen::state::choosing::hint;
use crate::screen::state::overlay::Overlay;
use crate::screen::state::routine::Step;
use crate::screen::state::{Entry, EntryFor, ScreenState, Slot};

/// Asked while nobody has said it, in a row of the narrowest window: on the
/// machine that recorded it a tape reads right at any speed.
const WHICH_MACHINE: &str = "Which machine recorded this tape? 0 takes it";

/// Lines, the most urgent first, each with whether it stands out.
fn all(state: &ScreenState, room: u16) -> Vec<(String, bool)> {
    let mut news = Vec::new();
    if let Some(Overlay::Entry(entry)) = &state.overlay {
        news.push((typed(entry, room), true));
    }
    news.extend(state.message.iter().map(|text| (harmless(text), true)));
    news.extend(keeping(state).map(|text| (text, true)));
    if asks_for_machine(state) {
        news.push((WHICH_MACHINE.to_owned(), false));
    }
    news.extend(state.ident_words().map(|text| (text, false)));
    news.extend(comparison(state).map(|text| (text, false)));
    news
}

fn asks_for_machine(state: &ScreenState) -> bool {
    state.asks_for_origin() && state.reading().is_some_and(|it| it.speed.is_some())
}

/// The line that is being typed, in one row: of a long one its end.
fn typed(entry: &Entry, room: u16) -> String {
    let what = match entry.purpose {
        EntryFor::Snapshot => "name of the snapshot",
        EntryFor::Machine => "machine on the bench",
        EntryFor::RecordedOn => "machine that the tape was recorded on",
        EntryFor::Note => "note",
        EntryFor::Supply => "supply voltage of the machine",
        EntryFor::Tolerance => "half width of the tolerance band in percent",
        EntryFor::Reference(kind) => hint(kind),
    };
    let plain = format!("{what}: {}_", entry.text);
    let full = format!("{plain}  (Enter keeps, Esc forgets)");
    if let Some(fits) = [full, plain.clone()]
        .into_iter()
        .find(|it| width(it) <= room)
    {
        return fits;
    }
    let mut end = plain.as_str();
    while !end.is_empty() && width(end) + 2 > room {
        let mut letters = end.chars();
        letters.next();
        end = letters.as_str();
    }
    format!("..{end}")
}

/// Rows needed to show everything.
pub(in crate::screen) fn rows(state: &ScreenState, width: u16) -> u16 {
    let rows = |(text, _): &(String, bool)| wrap(text, width).len() as u16;
    all(state, width).iter().map(rows).sum()
}

/// Rows that must not be left out: the most urgent line.
pub(in crate::screen) fn urgent_rows(state: &ScreenState, width: u16) -> u16 {
    let first = all(state, width).into_iter().find(|(_, urgent)| *urgent);
    first.map_or(0, |(text, _)| wrap(&text, width).len() as u16)
}

/// One row for what is asked before the work begins.
pub(in crate::screen) fn rows_of_question(state: &ScreenState) -> u16 {
    u16::from(asks_for_machine(state) && state.routine.at() == Step::Connect)
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let mut lines = Vec::new();
    for (text, urgent) in all(state, pen.width()) {
        let style = if urgent { look.strong() } else { look.faint() };
        lines.extend(wrap(&text, pen.width()).into_iter().map(|it| (it, style)));
    }
    for (y, (line, style)) in (0..pen.height()).zip(&lines) {
        pen.text(0, y, line, *style);
    }
    let urgent = usize::from(urgent_rows(state, pen.width()));
    if urgent > usize::from(pen.height()) {
        pen.right(pen.height().saturating_sub(1), " ...", look.strong());
    }
}

impl ScreenState {
    /// What stays on the shell when the screen is left: before, after and where
    /// they are kept; nothing where nothing was.
    pub fn closing_words(&self) -> Vec<String> {
        let places = self.record.iter().map(|place| format!("kept in {place}"));
        comparison(self).into_iter().chain(places).collect()
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
