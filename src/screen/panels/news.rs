//! What is being typed, kept or has just happened; what was kept before and
//! after; in a rehearsal, the next step.

use crate::audio::rehearsal_source::BenchStatus;
use crate::readings::Keeping;
use crate::screen::pen::{Pen, harmless, wrap};
use crate::screen::state::{EntryFor, Kept, ScreenState, Slot, SourceKind};
use crate::screen::verdict::Verdict;
use crate::screen::words::{plus_minus, signed};

/// Lines, the most urgent first, each with whether it stands out.
fn all(state: &ScreenState) -> Vec<(String, bool)> {
    let mut news = Vec::new();
    if let Some(entry) = &state.entry {
        let what = match entry.purpose {
            EntryFor::Snapshot => "name of the snapshot",
            EntryFor::Machine => "machine on the bench",
            EntryFor::Note => "note",
        };
        news.push((
            format!("{what}: {}_  (Enter keeps, Esc forgets)", entry.text),
            true,
        ));
    }
    news.extend(state.message.iter().map(|text| (harmless(text), true)));
    news.extend(keeping(state).map(|text| (text, true)));
    news.extend(comparison(state).map(|text| (text, false)));
    news.extend(step(state).map(|text| (text, false)));
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
    let reading = state.reading();
    Some(match reading.and_then(|it| it.keeping.as_ref()) {
        Some(Keeping::Averaging { have, want }) => format!(
            "keeping {name}: averaging {:.0} of {:.0} s, Esc stops",
            have.0.floor(),
            want.0
        ),
        _ => format!("keeping {name}: waits for a steady tone, Esc stops"),
    })
}

/// Before and after side by side.
fn comparison(state: &ScreenState) -> Option<String> {
    let before = state
        .newest_kept(&Slot::Before)
        .map(|kept| figure(state, kept));
    let after = state
        .newest_kept(&Slot::After)
        .map(|kept| figure(state, kept));
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
        .map(|kept| format!("  {} {}", harmless(kept.slot.name()), figure(state, kept)))
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

fn figure(state: &ScreenState, kept: &Kept) -> String {
    let Some(speed) = &kept.measurement.speed else {
        return "no speed".to_owned();
    };
    let deviation = signed(speed.deviation.0, 2);
    let known = speed.uncertainty_with_reference.or(speed.uncertainty);
    match known {
        Some(own) => format!("{deviation} {} %", plus_minus(state.look, own, 2)),
        None => format!("{deviation} %"),
    }
}

/// The next step of the exercise.
fn step(state: &ScreenState) -> Option<String> {
    if state.kind != SourceKind::Rehearsal {
        return None;
    }
    let bench = state.bench?;
    let before = state.newest_kept(&Slot::Before).is_some();
    let after = state.newest_kept(&Slot::After).is_some();
    let right = state.verdict().is_right();
    let next = match (before, after) {
        (_, true) => "done: compare before and after; q quits",
        (false, false) => "1 of 4: b keeps a before",
        (true, false) if bench.strokes < CLEAN_STROKES => clean(bench),
        (true, false) if !bench.powered => "3 of 4: p puts the power on, then trim",
        (true, false) if right => "4 of 4: right; a keeps an after",
        (true, false) if state.verdict() == Verdict::Moving => "3 of 4: trim; now let it settle",
        (true, false) => "3 of 4: trim with left and right until it is right",
    };
    Some(format!("rehearsal, {next}"))
}

/// Strokes that clean a dirty trimmer well enough.
const CLEAN_STROKES: u32 = 5;

fn clean(bench: BenchStatus) -> &'static str {
    if bench.powered {
        "2 of 4: clean the trimmer: p takes the power off first"
    } else {
        "2 of 4: clean: c works the wiper, a few times"
    }
}
