//! What is said in sentences, below the needle: first what to do now, which
//! never moves, then what else is the matter, one line of caution, what was
//! done and what is asked. Where rows are few each is cut at the end of a part,
//! never in the middle.

use ratatui_core::style::Style;

use super::{news, trouble};
use crate::screen::look::Look;
use crate::screen::pen::{Pen, fitting};
use crate::screen::state::routine::Step;
use crate::screen::state::{ScreenState, SourceKind};

/// In the order in which they stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// What to do now.
    Do,
    /// The same where something keeps the work from going on.
    Alarm,
    /// A trouble beside which the work goes on.
    Trouble,
    /// Typed, kept or just done.
    News,
    Careful,
    /// What is seen at this step.
    Seen,
    /// Asked once.
    Question,
    /// Told or kept before.
    Aside,
    /// What the keys do in a rehearsal.
    Rehearsal,
}

/// A sentence, and how many rows it was given.
struct Part {
    kind: Kind,
    text: String,
    rows: usize,
}

/// Who gets rows first, and how many at most.
const ORDER: [(Kind, usize); 17] = [
    (Kind::Do, 1),
    (Kind::Alarm, 1),
    (Kind::News, 1),
    (Kind::Trouble, 1),
    (Kind::Alarm, 3),
    (Kind::Careful, 1),
    (Kind::News, 2),
    (Kind::Question, 1),
    (Kind::Careful, 2),
    // Here what is needed ends: signal and level come next.
    (Kind::Trouble, 3),
    (Kind::Seen, 1),
    (Kind::Aside, 1),
    (Kind::Do, 2),
    (Kind::Seen, 2),
    (Kind::News, 4),
    (Kind::Aside, 2),
    (Kind::Rehearsal, 2),
];
const NEEDED: usize = 9;

/// Rows that must be had, and rows that are filled where there is room.
pub(in crate::screen) fn rows(state: &ScreenState, width: u16) -> (u16, u16) {
    let given = |order| {
        let parts = share(parts(state, width), width, usize::MAX, order);
        parts.iter().map(|part| part.rows).sum::<usize>() as u16
    };
    (given(&ORDER[..NEEDED]), given(&ORDER))
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let room = usize::from(pen.height());
    let width = pen.width();
    let mut y = 0;
    for part in share(parts(state, width), width, room, &ORDER) {
        let style = part.kind.style(state.look);
        let indent = part.kind.indent();
        if indent > 0 && part.rows > 0 {
            pen.text(0, y, "!", state.look.badge());
        }
        for line in fitting(&part.text, width - indent, part.rows) {
            pen.text(indent, y, &line, style);
            y += 1;
        }
    }
}

impl Kind {
    /// A trouble begins with a mark.
    fn indent(self) -> u16 {
        match self {
            Self::Alarm | Self::Trouble => 2,
            _ => 0,
        }
    }

    fn style(self, look: Look) -> Style {
        match self {
            Self::Do | Self::News => look.strong(),
            Self::Alarm | Self::Trouble => look.alarm(),
            Self::Seen => Style::new(),
            Self::Careful | Self::Question | Self::Aside | Self::Rehearsal => look.faint(),
        }
    }
}

/// Gives rows to parts, each no more than it fills.
fn share(mut parts: Vec<Part>, width: u16, rows: usize, order: &[(Kind, usize)]) -> Vec<Part> {
    let mut left = rows;
    for (kind, most) in order {
        for part in parts.iter_mut().filter(|part| part.kind == *kind) {
            let filled = fitting(&part.text, width - kind.indent(), left + part.rows);
            let more = filled.len().min(*most).saturating_sub(part.rows);
            part.rows += more;
            left -= more;
        }
    }
    parts
}

fn parts(state: &ScreenState, width: u16) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut say = |kind, text: String| {
        parts.push(Part {
            kind,
            text,
            rows: 0,
        });
    };
    let card = state.routine.card();
    let first = trouble::stops_work(state);
    match &first {
        Some((text, true)) => say(Kind::Alarm, text.clone()),
        Some((text, false)) => say(Kind::Do, text.clone()),
        None => say(Kind::Do, to_do(state)),
    }
    if first.is_none() {
        let said = trouble::sentence(state).filter(|_| !trouble::is_silence_wanted(state));
        if let Some((text, is_bad)) = said {
            say(if is_bad { Kind::Trouble } else { Kind::Aside }, text);
        }
    }
    if let Some(unsaved) = news::unsaved(state).filter(|_| state.message.is_none()) {
        say(Kind::Trouble, unsaved);
    }
    for text in news::urgent(state, width) {
        say(Kind::News, text);
    }
    // Otherwise it is what there is to do.
    let is_beside = first.is_some() || state.guided().is_some();
    if let Some(keeping) = news::keeping(state).filter(|_| is_beside) {
        say(Kind::News, keeping);
    }
    say(Kind::Careful, format!("Careful: {}", card.careful));
    if let Some(seen) = seen(state) {
        say(Kind::Seen, format!("Now: {seen}"));
    }
    if let Some(question) = news::question(state) {
        say(Kind::Question, question.to_owned());
    }
    for text in news::told(state) {
        say(Kind::Aside, text);
    }
    if state.kind == SourceKind::Rehearsal {
        say(Kind::Rehearsal, format!("Rehearsal: {}", card.rehearsal));
    }
    parts
}

/// One sentence: how to turn, what to wait for, or what belongs to the step.
fn to_do(state: &ScreenState) -> String {
    let step = state.routine.at();
    if let Some(said) = state.guided().or_else(|| news::keeping(state)) {
        return said;
    }
    match step {
        Step::Wiper if state.wants_cleaning() => {
            "the wiper is bad: clean it, Space goes there".to_owned()
        }
        Step::Wiper if state.wants_a_new_trimmer() => {
            "cleaning does not help: put in a new trimmer".to_owned()
        }
        // What the work has come to.
        Step::After if state.routine.is_done(step) => {
            news::comparison(state).unwrap_or_else(|| state.routine.card().brief.to_owned())
        }
        step if state.routine.is_done(step) => format!("{}: done, Space goes on", step.name()),
        _ => state.routine.card().brief.to_owned(),
    }
}

/// What is seen at this step, unless level, digits, verdict or news say it.
fn seen(state: &ScreenState) -> Option<String> {
    let step = state.routine.at();
    let is_said = matches!(
        step,
        Step::Connect | Step::Before | Step::Trim | Step::After
    );
    let is_open = step == Step::Wiper && state.newest_sweep().is_none();
    (!is_said && !is_open && state.keeping.is_none()).then(|| state.seen_now())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::specimen;
    use crate::screen::state::Slot;

    fn said(state: &ScreenState, rows: usize) -> Vec<(Kind, usize)> {
        let parts = share(parts(state, 50), 50, rows, &ORDER);
        parts.iter().map(|part| (part.kind, part.rows)).collect()
    }

    #[test]
    fn what_to_do_comes_first_and_the_caution_before_what_is_nice_to_know() {
        let mut state = specimen::showing(specimen::reading(-1.0));
        state.routine.go_to(Step::WarmUp);
        assert_eq!(
            said(&state, 2)[..2],
            [(Kind::Do, 1), (Kind::Careful, 1)],
            "{:?}",
            said(&state, 2)
        );
        state.keeping = Some(Slot::Before);
        assert_eq!(
            said(&state, 2),
            [(Kind::Do, 1), (Kind::Careful, 1)],
            "{:?}",
            to_do(&state)
        );
        assert!(to_do(&state).starts_with("keeping before"));
        state.message = Some("just done".to_owned());
        assert_eq!(
            said(&state, 3),
            [(Kind::Do, 1), (Kind::News, 1), (Kind::Careful, 1)]
        );
    }

    #[test]
    fn what_stops_the_work_is_what_to_do() {
        let silent = specimen::showing(specimen::silence());
        let first = parts(&silent, 50).remove(0);
        assert_eq!(first.kind, Kind::Alarm);
        assert!(first.text.starts_with("no signal"), "{}", first.text);
        assert!(fitting(&first.text, 48, 9).len() <= 3);
    }
}
