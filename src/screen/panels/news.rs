//! What is being typed, kept or has just happened; what was kept before and
//! after.

use crate::report::numbers::plain;
use crate::screen::pen::{Pen, fitting, width, wrap};
use crate::screen::state::choosing::hint;
use crate::screen::state::overlay::Overlay;
use crate::screen::state::routine::Step;
use crate::screen::state::{Entry, EntryFor, KeptOf, ScreenState, Slot};

/// Columns from which on flutter is told of last time as well.
const ROOMY: u16 = 78;

/// Asked while nobody has said it, in a row of the narrowest window: on the
/// machine that recorded it a tape reads right at any speed.
const WHICH_MACHINE: &str = "Which machine recorded this tape? Press 0";

/// What has to be seen at once: a line being typed, what was just done.
pub(super) fn urgent(state: &ScreenState, room: u16) -> Vec<String> {
    let mut news = Vec::new();
    if let Some(Overlay::Entry(entry)) = &state.overlay {
        news.push(typed(entry, room));
    }
    news.extend(state.message.iter().map(|text| plain(text)));
    news
}

/// What is asked once, at the first step.
pub(super) fn question(state: &ScreenState) -> Option<&'static str> {
    let asks = state.asks_for_origin()
        && state.routine.at() == Step::Connect
        && state.reading().is_some_and(|it| it.speed.is_some());
    asks.then_some(WHICH_MACHINE)
}

/// What the tape says, and what was kept where that is the step's business.
pub(super) fn told(state: &ScreenState) -> impl Iterator<Item = String> {
    let step = state.routine.at();
    // Once after is kept, it stands first.
    let is_first = step == Step::After && state.routine.is_done(step);
    let is_business = matches!(step, Step::Before | Step::After) && !is_first;
    let is_open = state.unsaved().next().is_some();
    let kept = comparison(state).filter(|_| is_business || is_open);
    let last_time = state.last_time_in_words(state.size.0 < ROOMY);
    kept.into_iter().chain(last_time).chain(state.ident_words())
}

/// The line that is being typed, in one row: of a long one its end.
fn typed(entry: &Entry, room: u16) -> String {
    let what = match entry.purpose {
        EntryFor::Snapshot => "name of the snapshot",
        EntryFor::Machine => "machine on the bench",
        EntryFor::RecordedOn => "machine that the tape was recorded on",
        EntryFor::Part => "part that makes the marked line",
        EntryFor::Note => "note",
        EntryFor::Supply | EntryFor::RunVoltage => "supply voltage of the machine",
        EntryFor::Tolerance => "half width of the tolerance band in percent",
        EntryFor::Reference(kind) => hint(kind),
    };
    let plain = format!("{what}: {}_", plain(&entry.text));
    if width(&plain) <= room {
        return plain;
    }
    let mut end = plain.as_str();
    while !end.is_empty() && width(end) + 2 > room {
        let mut letters = end.chars();
        letters.next();
        end = letters.as_str();
    }
    format!("..{end}")
}

/// The same and what is being kept: all that is told over another view.
fn over(state: &ScreenState, width: u16) -> impl Iterator<Item = String> {
    urgent(state, width).into_iter().chain(keeping(state))
}

/// Rows for that.
pub(in crate::screen) fn rows(state: &ScreenState, width: u16) -> u16 {
    let rows = |text: String| wrap(&text, width).len() as u16;
    over(state, width).map(rows).sum()
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let mut y = 0;
    for text in over(state, pen.width()) {
        let left = usize::from(pen.height().saturating_sub(y));
        for line in fitting(&text, pen.width(), left) {
            pen.text(0, y, &line, state.look.strong());
            y += 1;
        }
    }
}

/// What is being kept, and how far that has come.
pub(super) fn keeping(state: &ScreenState) -> Option<String> {
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

/// What is not safe on the disk yet.
pub(super) fn unsaved(state: &ScreenState) -> Option<String> {
    let count = state.unsaved().count();
    (count > 0).then(|| format!("{count} NOT SAVED: r tries again"))
}

/// Before and after side by side, and whether they are safe.
pub(super) fn comparison(state: &ScreenState) -> Option<String> {
    let unsaved = match state.unsaved().count() {
        0 => String::new(),
        count => format!("  ({count} NOT SAVED, r tries again)"),
    };
    figures_of(state, state.on_bench()).map(|figures| figures + &unsaved)
}

/// Before and after side by side, and what was named last.
pub(in crate::screen) fn figures_of(state: &ScreenState, of: KeptOf) -> Option<String> {
    let [before, after] = [Slot::Before, Slot::After].map(|slot| {
        let kept = of.newest(|it| *it == slot);
        kept.map(|kept| state.figure_of(kept))
    });
    let arrow = state.look.arrow();
    let named = of
        .newest(|it| matches!(it, Slot::Named(_)))
        .map(|kept| format!("  {} {}", plain(kept.slot.name()), state.figure_of(kept)))
        .unwrap_or_default();
    match (before, after) {
        (Some(before), Some(after)) => {
            Some(format!("before {before} {arrow} after {after}{named}"))
        }
        (Some(before), None) => Some(format!("before {before}{named}")),
        (None, Some(after)) => Some(format!("after {after}{named}")),
        (None, None) => (!named.is_empty()).then(|| format!("kept{named}")),
    }
}
