//! The page of the job over the whole screen.

use crate::report::numbers::plain;
use crate::screen::pen::{Pen, wrap};
use crate::screen::state::{ScreenState, SourceKind};

/// Columns for the mark in front of an entry.
const MARK: u16 = 2;

const SIMULATED: &str = " (simulated)";

pub(in crate::screen) fn draw(state: &ScreenState, at: usize, pen: &mut Pen) {
    let look = state.look;
    let last = pen.height().saturating_sub(1);
    let room = usize::from(last.saturating_sub(1).max(1));
    let rows = state.job_rows();
    let at = at.min(rows.len().saturating_sub(1));
    let entries: Vec<Vec<String>> = rows
        .iter()
        .map(|row| wrap(&row.text, pen.width().saturating_sub(MARK)))
        .collect();
    let mut title = match state.present_job() {
        Some(present) => format!("job {}", plain(&present.job.name)),
        None => "no job yet".to_owned(),
    };
    // A job named after a simulated machine says so itself.
    if state.kind == SourceKind::Rehearsal && !title.contains(SIMULATED) {
        title += SIMULATED;
    }
    let end = pen.text(0, 0, &title, look.strong());
    if entries.iter().map(Vec::len).sum::<usize>() > room {
        let place = format!("{} of {}", at + 1, rows.len());
        pen.text(end + 2, 0, &place, look.faint());
    }
    let mut y = 1;
    for number in first_in_sight(&entries, at, room)..rows.len() {
        let style = match (number == at, rows[number].is_strong) {
            (true, _) => look.badge(),
            (false, true) => look.strong(),
            (false, false) => look.faint(),
        };
        if number == at {
            pen.text(0, y, ">", style);
        }
        for line in &entries[number] {
            if usize::from(y) <= room {
                pen.text(MARK, y, line, style);
            }
            y += 1;
        }
    }
    let opens = rows.get(at).is_some_and(|row| row.opens.is_some());
    let foot = if opens {
        "Enter opens this job  up, down, Space  Esc back"
    } else {
        "up, down, Space moves  9 or Esc back"
    };
    pen.text(0, last, foot, look.faint());
}

/// The mark stays in sight however long the list is.
fn first_in_sight(entries: &[Vec<String>], at: usize, room: usize) -> usize {
    let mut used = 0;
    let before = entries.iter().take(at + 1).rev().take_while(|lines| {
        used += lines.len();
        used <= room
    });
    (at + 1).saturating_sub(before.count().max(1))
}
