//! The page of the job over the whole screen.

use crate::report::numbers::plain;
use crate::screen::pen::Pen;
use crate::screen::state::ScreenState;
use crate::screen::state::job_page::MARK;

pub(in crate::screen) fn draw(state: &ScreenState, at: usize, pen: &mut Pen) {
    let look = state.look;
    let last = pen.height().saturating_sub(1);
    let room = usize::from(last.saturating_sub(1).max(1));
    let rows = state.job_rows();
    let at = at.min(rows.len().saturating_sub(1));
    // The mark stays in sight however long the list is.
    let from = (at + 1).saturating_sub(room);
    let title = match state.present_job() {
        Some(present) => format!("job {}", plain(&present.job.name)),
        None => "no job yet".to_owned(),
    };
    let end = pen.text(0, 0, &title, look.strong());
    if rows.len() > room {
        let until = (from + room).min(rows.len());
        let place = format!("{} to {until} of {}", from + 1, rows.len());
        pen.text(end + 2, 0, &place, look.faint());
    }
    for (y, (number, row)) in (1..).zip(rows.iter().enumerate().skip(from).take(room)) {
        let style = match (number == at, row.is_strong) {
            (true, _) => look.badge(),
            (false, true) => look.strong(),
            (false, false) => look.faint(),
        };
        let mark = if number == at { ">" } else { " " };
        pen.text(0, y, mark, style);
        pen.text(MARK, y, &row.text, style);
    }
    let opens = rows.get(at).is_some_and(|row| row.opens.is_some());
    let foot = if opens {
        "Enter opens this job   up, down, Space   9 or Esc back"
    } else {
        "up, down, Space moves   9 or Esc back"
    };
    pen.text(0, last, foot, look.faint());
}
