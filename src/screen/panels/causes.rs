//! All about what wavers, over the whole screen: the likely causes with their
//! checks and cautions, what tells the marked line from others, and the two
//! channels. Turned over page by page where the screen is small.

use super::pages::{self, Row, rows};
use crate::report::lines::{figures, long, told_apart};
use crate::report::{capital, channels, faults};
use crate::screen::pen::Pen;
use crate::screen::state::ScreenState;

fn all(state: &ScreenState) -> Vec<Row> {
    let wavering = &state.wavering;
    let lines = wavering.lines.as_ref();
    let mut texts: Vec<(String, bool)> = Vec::new();
    for fault in &state.likely_faults() {
        let why = faults::reasons(fault, lines);
        texts.push((format!("{} ({why}).", faults::headline(fault)), true));
        texts.push((faults::check(fault), false));
    }
    if lines.is_none() {
        texts.push(("What wavers is not judged yet.".to_owned(), true));
    } else if texts.is_empty() {
        texts.push((format!("{}.", capital(faults::NOTHING)), true));
    }
    if let Some((lines, line)) = lines.zip(state.marked_line()) {
        let card = state.card_in_force();
        texts.push((format!("The marked line: {}.", figures(line)), true));
        texts.push((format!("{}.", capital(&long(lines, line, card))), false));
        let apart = told_apart(lines, line, card);
        texts.extend(apart.map(|text| (format!("{}.", capital(&text)), false)));
    }
    if let Some(told) = state.reading().and_then(|reading| reading.channels) {
        let both = [
            channels::levels(&told),
            channels::balance(&told),
            channels::lag(&told),
        ];
        texts.push((format!("Two channels: {}.", both.join("; ")), true));
        let loss = channels::mono_loss(&told);
        let more = channels::doubt(&told).into_iter().chain([loss]);
        texts.extend(more.map(|text| (format!("{}.", capital(&text)), false)));
    }
    let each = texts.iter().flat_map(|(text, is_strong)| {
        let text = text.replace('±', state.look.plus_minus());
        let air = is_strong.then(Row::default);
        air.into_iter()
            .chain(rows("", &text, *is_strong, state))
            .collect::<Vec<_>>()
    });
    // No empty row at the top.
    each.skip(1).collect()
}

/// How many pages it has on this terminal.
pub(in crate::screen) fn pages(state: &ScreenState) -> usize {
    pages::pages(&all(state), state).len()
}

/// Draws a page of it.
pub(in crate::screen) fn draw(state: &ScreenState, page: usize, pen: &mut Pen) {
    pages::draw(
        state,
        &all(state),
        page,
        "what wavers, and what to check",
        "8",
        pen,
    );
}
