//! The strip of steps in one row, and the runs above it.

use crate::records::{Direction, Run};
use crate::screen::pen::{Pen, width};
use crate::screen::state::ScreenState;
use crate::screen::state::routine::{Mark, Step};
use crate::screen::state::runs::RunMark;

/// Below this the names of the steps do not fit.
const ROOM_FOR_NAMES: u16 = 79;

fn sign(mark: Mark) -> &'static str {
    match mark {
        Mark::Open => "·",
        Mark::Done => "✓",
        Mark::LeftOut => "─",
    }
}

/// Draws the strip.
pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    if pen.width() < ROOM_FOR_NAMES {
        draw_signs(state, pen);
    } else {
        draw_names(state, pen);
    }
}

/// The runs of a machine with several, the one that is on stands out; nothing
/// where there is one only.
pub(in crate::screen) fn draw_runs(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let (number, count) = state.runs.number();
    let head = match state.runs.round() {
        1 => format!("run {number} of {count}:"),
        round => format!("run {number} of {count}, round {round}:"),
    };
    let mut x = pen.text(0, 0, &head, look.strong()) + 1;
    let texts: Vec<(String, RunMark)> = state
        .runs
        .marks()
        .map(|(run, mark)| (format!("{}{}", sign_of_run(mark), short(run)), mark))
        .collect();
    let needed: u16 = texts.iter().map(|(text, _)| width(text) + 1).sum();
    let fits = x + needed <= pen.width() + 1;
    // Where not all have room, the one that is on and its neighbours.
    let first = if fits { 0 } else { number.saturating_sub(2) };
    for (at, (text, mark)) in (1..).zip(&texts).skip(first) {
        let style = match mark {
            _ if at == number => look.badge(),
            RunMark::Set => look.faint(),
            RunMark::Open | RunMark::Doubtful => look.strong(),
        };
        if x + width(text) > pen.width() {
            break;
        }
        x = pen.text(x, 0, text, style) + 1;
    }
}

fn sign_of_run(mark: RunMark) -> &'static str {
    match mark {
        RunMark::Open => "·",
        RunMark::Set => "✓",
        RunMark::Doubtful => "?",
    }
}

/// Short enough that four stand in a row of 80.
fn short(run: Run) -> String {
    let way = run.direction.map(|direction| match direction {
        Direction::Forward => "fwd",
        Direction::Reverse => "rev",
    });
    match (run.speed_cm_s, way) {
        (Some(speed), Some(way)) => format!("{speed} {way}"),
        (Some(speed), None) => format!("{speed} cm/s"),
        (None, way) => way.unwrap_or_default().to_owned(),
    }
}

/// Rows that they take: one where there are several.
pub(in crate::screen) fn rows_of_runs(state: &ScreenState) -> u16 {
    u16::from(state.runs.are_several())
}

fn draw_names(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let mut x = 0;
    for step in Step::ALL {
        let text = format!("{}{}", sign(state.routine.mark(step)), step.name());
        let style = if step == state.routine.at() {
            look.badge()
        } else if state.routine.mark(step) == Mark::Open {
            look.strong()
        } else {
            look.faint()
        };
        x = pen.text(x, 0, &text, style) + 1;
    }
}

/// One sign a step, then the name of the present one.
fn draw_signs(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let at = state.routine.at();
    let mut x = 0;
    for step in Step::ALL {
        let style = if step == at {
            look.badge()
        } else {
            look.faint()
        };
        x = pen.text(x, 0, sign(state.routine.mark(step)), style);
    }
    let name = format!("{} {}", at.number(), at.name());
    if state.runs.are_several() {
        let (number, count) = state.runs.number();
        let run = format!("run {number}/{count}");
        x = pen.text(x + 1, 0, &run, look.strong());
    }
    pen.text(x + 1, 0, &name, look.strong());
}
