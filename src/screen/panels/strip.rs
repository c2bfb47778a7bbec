//! The strip of steps in one row, and the words of the present step below it
//! as far as there is room.

use crate::screen::pen::{Pen, width, wrap};
use crate::screen::routine::now::key_does;
use crate::screen::routine::{Mark, Step};
use crate::screen::state::{ScreenState, SourceKind};

/// Below this the names of the steps do not fit.
const ROOM_FOR_NAMES: u16 = 79;

/// Most rows that the words take.
const MOST_WORDS: usize = 4;

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

/// One sign a step, then the name of the present one and what the key does.
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
    x = pen.text(x + 1, 0, &name, look.strong());
    if let Some(guided) = guided(state) {
        pen.text(x + 1, 0, &guided, look.strong());
        return;
    }
    let key = format!("Space: {}", key_does(&state.routine, state));
    if x + 2 + width(&key) <= pen.width() {
        pen.text(x + 2, 0, &key, look.faint());
    }
}

/// At the trimmer, what to do next stands in the place of the general words.
fn guided(state: &ScreenState) -> Option<String> {
    let at = state.routine.at();
    let trims = at == Step::Trim && !state.routine.has_no_trimmer();
    state.guidance_words().filter(|_| trims)
}

/// The words of the present step, the most important first.
fn words(state: &ScreenState, room: u16) -> Vec<(String, bool)> {
    let card = state.routine.card();
    let guided = guided(state);
    let first = guided.as_deref().unwrap_or(card.brief);
    let mut words: Vec<(String, bool)> = wrap(first, room)
        .into_iter()
        .map(|line| (line, true))
        .collect();
    let now = format!("Now: {}", state.seen_now());
    words.extend(wrap(&now, room).into_iter().map(|line| (line, true)));
    let mut faint = vec![format!("Careful: {}", card.careful)];
    if state.kind == SourceKind::Rehearsal {
        faint.push(format!("Rehearsal: {}", card.rehearsal));
    }
    for text in faint {
        words.extend(wrap(&text, room).into_iter().map(|line| (line, false)));
    }
    words.truncate(MOST_WORDS);
    words
}

/// Rows that the words take where there is room.
pub(in crate::screen) fn rows_of_words(state: &ScreenState, width: u16) -> u16 {
    words(state, width).len() as u16
}

/// Draws as many of the words as fit.
pub(in crate::screen) fn draw_words(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    for (y, (line, important)) in (0..pen.height()).zip(words(state, pen.width())) {
        let style = if important {
            look.strong()
        } else {
            look.faint()
        };
        pen.text(0, y, &line, style);
    }
}
